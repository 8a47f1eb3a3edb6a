"""A TOML text as a table, or everything that is wrong with how it is written, each with its mending."""

import re
import tomllib
from typing import Any

from gatesim.ground.errors import Fault, FileErrors, InputError, Place

MOST = 20
"""Slips of one text that are told."""

_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_NUMBER = r"[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?"
_UNIT = r"[A-Za-z%°µμΩ][A-Za-z0-9%°µμΩ/*^·]*"
_UNQUOTED = re.compile(
    rf"=\s*(?P<value>{_NUMBER}\s*{_UNIT}(?:\s+{_UNIT})*|[+-]?\d+,\d+|[A-Za-z][\w.-]*(?:\s[\w.-]+)*)"
    r"\s*(?=[,}\]#]|$)"
)
_CURLY = re.compile("[“”„‟«»]")
_WORDS = ("true", "false", "inf", "nan")


def table_of(text: str, file: str) -> tuple[dict[str, Any], tuple[Fault, ...]]:
    """The table, and the slips that were put right to read it: values without quotes, curly quotes.

    Raises FileErrors where it cannot be read even so, or InputError for what no text may have.
    """
    faults: list[Fault] = []
    while True:
        try:
            return tomllib.loads(text), tuple(faults)
        except RecursionError as error:
            raise InputError(f"{file}: it is not valid TOML: {error}") from None
        except tomllib.TOMLDecodeError as error:
            reason, place = _reason(str(error), text)
            mended = _mended(text, place)
            if mended is None or len(faults) >= MOST:
                said = f"it is not valid TOML: {reason}"
                raise FileErrors(file, [*faults, Fault((), said, place)]) from None
            text, fault = mended
            faults.append(fault)


def _reason(message: str, text: str) -> tuple[str, Place]:
    """What the parser says, and where."""
    match = _PLACE.search(message)
    lines = text.splitlines() or [""]
    place = (len(lines), len(lines[-1]) + 1)
    if match is not None and match[1]:
        place = (int(match[1]), int(match[2]))
    return message[: match.start()] if match else message, place


def _mended(text: str, place: Place) -> tuple[str, Fault] | None:
    """The text with the slip at a place put right, and what to say of it; None for any other slip."""
    lines = text.split("\n")
    line, column = place
    if line > len(lines):
        return None
    whole = lines[line - 1].removesuffix("\r")
    curly = _CURLY.search(whole)
    if curly is not None and curly.start() <= column:
        lines[line - 1] = _CURLY.sub('"', whole)
        said = (
            f"given the quotation mark {curly[0]}, expected straight ones, as in {_clipped(lines[line - 1])}"
        )
        return "\n".join(lines), Fault((), said, (line, curly.start() + 1))
    for match in _UNQUOTED.finditer(whole):
        value = match["value"]
        if match.start("value") <= column <= match.end() + 1 and value not in _WORDS:
            lines[line - 1] = f'{whole[: match.start("value")]}"{_point(value)}"{whole[match.end("value") :]}'
            key = re.split(r"[{,\s]+", whole[: match.start()].strip())[-1]
            point = ", with a decimal point" if "," in value else ""
            said = f'{key}: given {value} without quotes, expected {key} = "{_point(value)}"{point}'
            return "\n".join(lines), Fault((), said, (line, match.start("value") + 1))
    return None


def _point(value: str) -> str:
    return value.replace(",", ".")


def _clipped(line: str) -> str:
    return line.strip() if len(line.strip()) <= 80 else f"{line.strip()[:77]}..."
