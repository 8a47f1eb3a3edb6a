"""A file of `gatesim choose` with few candidates, for tests that need any choice at all."""

import tomllib
from pathlib import Path

FOLDER = Path(__file__).parent.parent / "scenarios"


def small_choice():
    """The shipped file with two alternatives of every option and two spacings to start at: 64 candidates."""
    text = (FOLDER / "choose" / "rungs.toml").read_text(encoding="utf-8")
    raw = tomllib.loads(text.replace('"../', f'"{FOLDER.as_posix()}/'))
    options = {name: dict(list(table.items())[:2]) for name, table in raw["options"].items()}
    return {**raw, "options": options, "ranges": ["gate.spacing = 40 mm:310 mm:2"]}
