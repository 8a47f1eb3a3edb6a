"""A first scenario of one's own."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gatesim.api.result import Result
from gatesim.formula import suited
from gatesim.ground.errors import InputError
from gatesim.ground.files import target

TITLES = {
    "drop": "Part that falls freely past two gates",
    "chute": "Part that slides down a chute",
    "brake": "Part that slides down a chute between braking magnets",
    "launch": "Part that a spring launches along a level rail",
    "belt": "Part on a belt, timed by a clock",
    "encoder": "Part on a belt, counted by an encoder on a roller",
}
KINDS = tuple(TITLES)
_FIRST = dict.fromkeys(KINDS, "300 mm") | {"brake": "600 mm", "launch": "150 mm"}
_FORMULA = {kind: suited(travel=kind == "encoder")[0] for kind in KINDS}


@dataclass(frozen=True, repr=False)
class New(Result):
    """A commented starter scenario of a ``kind``; all values in ``text`` are invented."""

    kind: str
    text: str

    def __str__(self) -> str:
        return self.text

    def data(self) -> Any:
        """The kind and the text."""
        return {"kind": self.kind, "text": self.text}

    def save(self, path: Path | str) -> None:
        """Write the file. Raises InputError where it exists already: a rig of one's own is not lost."""
        file = Path(path)
        if file.exists():
            raise InputError(f"{file}: given as the new scenario, but it exists, expected a new name")
        target(file, "new scenario").write(self.text)


def new(kind: str) -> New:
    """A starter for one of `KINDS`, which predicts as it is. Raises InputError for any other."""
    from gatesim.view.template import render_text

    if kind not in KINDS:
        raise InputError(f"--kind: given {kind!r}, expected one of {', '.join(KINDS)}")
    text = render_text("starter.toml.j2", kind=kind, titles=TITLES, first=_FIRST, formula=_FORMULA)
    return New(kind, text)
