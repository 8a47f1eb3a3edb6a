"""Errors a user can mend: clear sentences, exit code 2, no traceback."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

Place = tuple[int, int]
"""Line and column in a file, both from 1."""


class InputError(ValueError):
    """Bad input. The message is one sentence: file, key, what was given, what is expected."""


@dataclass(frozen=True)
class Fault:
    """One thing to mend: what it is about by its keys, and the sentence; ``place`` where it is known."""

    keys: tuple[str, ...]
    sentence: str
    place: Place | None = None

    def __str__(self) -> str:
        if self.place is None:
            return self.sentence
        return f"line {self.place[0]}, column {self.place[1]}: {self.sentence}"


class FileErrors(InputError):
    """Everything that is wrong with one file: one sentence each, in the order of the file."""

    def __init__(self, file: str, faults: Sequence[Fault]) -> None:
        self.file, self.faults = file, tuple(faults)
        comma = "" if faults[0].place is None else ","
        one = f"{file}{comma or ':'} {faults[0]}"
        many = "\n  ".join([f"{file}: {len(faults)} things to mend", *map(str, faults)])
        super().__init__(one if len(faults) == 1 else many)

    def placed(self, places: Mapping[tuple[str, ...], Place]) -> "FileErrors":
        """The same with line and column: of the key, or of the nearest table around it."""
        found = [Fault(f.keys, f.sentence, f.place or _nearest(f.keys, places)) for f in self.faults]
        return FileErrors(self.file, sorted(found, key=lambda fault: fault.place or (0, 0)))


def _nearest(keys: tuple[str, ...], places: Mapping[tuple[str, ...], Place]) -> Place | None:
    for size in range(len(keys), 0, -1):
        if keys[:size] in places:
            return places[keys[:size]]
    return None
