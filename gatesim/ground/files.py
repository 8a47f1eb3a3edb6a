"""Writing files: what exists is replaced only whole and at the end, and never what a command has read.

Every file that gatesim writes goes through a `Target`: its content is written beside it, flushed
to the disk, and moved over it in one step. A crash, a full disk or a kill leaves the old file as
it was, or none.
"""

import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from gatesim.ground.errors import InputError


def reason(error: OSError) -> str:
    """What the system says of an error, in words."""
    return error.strerror or str(error)


@dataclass(frozen=True)
class Target:
    """A file that will be written; ``kind`` says in messages what it is given as."""

    path: Path
    kind: str

    @contextmanager
    def writing(self) -> Iterator[IO[bytes]]:
        """A stream whose content becomes the file when the block ends without an error.

        Raises InputError where it cannot be written; the old file then stays.
        """
        try:
            with _stream(self.path) as stream:
                yield stream
        except OSError as error:
            raise InputError(f"{self.path}: the {self.kind} cannot be written ({reason(error)})") from None

    def write(self, content: bytes | str) -> None:
        """Replace the file by this content, text as UTF-8. Raises InputError."""
        with self.writing() as stream:
            stream.write(content.encode() if isinstance(content, str) else content)


def target(
    path: Path,
    kind: str,
    read: Sequence[Path] = (),
    others: Sequence[Target] = (),
    endings: Sequence[str] = (),
) -> Target:
    """Check before any work that a file can be written, and that nothing is lost by it.

    ``read``: files that the command reads, ``others``: files that it writes as well, neither of
    which may be this one; ``endings`` that its name may have. Raises InputError.
    """
    given = f"{path}: given as the {kind}"
    if endings and path.suffix.lower() not in endings:
        raise InputError(f"{given}, expected a name ending in {' or '.join(endings)}")
    if path.is_dir():
        raise InputError(f"{given}, but it is a directory, expected the name of a file")
    folder = path.parent
    if not folder.is_dir():
        raise InputError(f"{given}, but there is no directory {folder}")
    for source in read:
        if same_file(path, source):
            raise InputError(f"{given}, but it is read as well, expected the name of another file")
    for other in others:
        if same_file(path, other.path):
            raise InputError(f"{given}, but it is the {other.kind} as well, expected another name")
    if not os.access(path.resolve().parent, os.W_OK) or (path.exists() and not os.access(path, os.W_OK)):
        raise InputError(f"{given}, but it cannot be written there (permission denied)")
    return Target(path, kind)


def same_file(one: Path, other: Path) -> bool:
    """Whether two names mean one file, through links, too; names of files that are not there count."""
    with suppress(OSError):
        return one.samefile(other)
    return one.resolve() == other.resolve()


@contextmanager
def _stream(path: Path) -> Iterator[IO[Any]]:
    if path.exists() and not path.is_file():  # a pipe or a device has no place beside it
        with path.open("wb") as stream:
            yield stream
        return
    home = path.resolve()  # the file itself is replaced, not a link to it
    handle, name = tempfile.mkstemp(dir=home.parent, prefix=f".{home.name[:100]}.")
    scratch = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())  # so that a power cut, too, leaves one of the two whole
        scratch.chmod(home.stat().st_mode & 0o777 if home.exists() else 0o666 & ~_umask())
        scratch.replace(home)
    finally:
        scratch.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
