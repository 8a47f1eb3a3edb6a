"""A file of `gatesim choose` with few candidates, for tests that need any choice at all."""

import tomllib
from pathlib import Path

FOLDER = Path(__file__).parent.parent / "scenarios"


def small_choice():
    """The shipped file with two set-ups, one alternative of the rest, two spacings: 4 candidates."""
    text = (FOLDER / "choose" / "rungs.toml").read_text(encoding="utf-8")
    raw = tomllib.loads(text.replace('"../', f'"{FOLDER.as_posix()}/'))
    options = {name: dict(list(table.items())[1:2]) for name, table in raw["options"].items()}
    options["set-up"] = dict(list(raw["options"]["set-up"].items())[:2])  # of which both can do
    return {**raw, "options": options, "ranges": ["gate.spacing = 40 mm:310 mm:2"]}
