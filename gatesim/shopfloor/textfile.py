"""Text files as instruments, spreadsheets and controllers write them."""

from pathlib import Path

from gatesim.ground.errors import InputError

_WIDE = (b"\xff\xfe", b"\xfe\xff")
"""Byte-order marks of UTF-16, in which spreadsheets save text, too."""


def text_of(path: str | Path, expected: str) -> str:
    """The text of a file in UTF-8, or in UTF-16 with its byte-order mark. Raises InputError."""
    try:
        data = Path(path).read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error}), expected {expected}") from None
    try:
        return data.decode("utf-16" if data[:2] in _WIDE and len(data) % 2 == 0 else "utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: byte {error.start} is not UTF-8, expected {expected} in UTF-8") from None
