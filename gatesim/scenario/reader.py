"""Reading a scenario file."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from gatesim.ground.errors import InputError
from gatesim.scenario.model import Scenario


def load(file: str | Path) -> Scenario:
    """Read and validate a scenario file. Raises InputError with one sentence."""
    path = Path(file)
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(f"{path}: it cannot be read ({error.strerror or error})") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: it is not UTF-8 text, expected a scenario in TOML") from None
    return parse_text(text, str(path))


def parse_text(text: str, file: str = "<text>") -> Scenario:
    """Validate the text of a scenario. Raises InputError with one sentence."""
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError(f"{file}: it is not valid TOML: {error}") from None
    scenario = from_raw(raw, file)
    # in a file only: a sweep or a proposal may well try a part that the limits rule out
    if scenario.beside_the_point:
        raise InputError(f"{file}: {scenario.beside_the_point}")
    return scenario


def from_raw(raw: Mapping[str, Any], file: str = "<table>") -> Scenario:
    """Validate a table as TOML gives it. Raises InputError with one sentence."""
    return Scenario.from_raw(raw, file)


def changed(scenario: Scenario, path: str, value: Any) -> Scenario:
    """Copy of a scenario with the text or number at ``path`` replaced, validated anew.

    A spread given at the path is kept about the new value. Raises InputError on a path
    that no scenario has (naming the nearest) or on a value that does not fit.
    """
    return scenario.with_values({path: value})
