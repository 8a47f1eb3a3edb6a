"""Rigs to begin with, one of each kind, all invented."""

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

KINDS = {
    "drop": "A part that falls freely",
    "chute": "A part that slides down a chute",
    "brake": "A part braked by magnets on a chute",
    "launch": "A part launched by a spring",
    "belt": "A part on a belt, timed by a clock",
    "encoder": "A part on a belt, counted by an encoder",
}


@dataclass(frozen=True)
class Starter:
    """A rig to begin with: what it is called, and its scenario as TOML."""

    title: str
    text: str


def starters() -> Mapping[str, Starter]:
    """All of them by kind."""
    folder = files("gatesim.view.bench.starters")
    return {
        kind: Starter(title, (folder / f"{kind}.toml").read_text(encoding="utf-8"))
        for kind, title in KINDS.items()
    }
