"""Reading a scenario file."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from gatesim.ground.errors import Fault, FileErrors, InputError
from gatesim.scenario.model import Scenario
from gatesim.scenario.places import places_of
from gatesim.scenario.tomltext import table_of

ReadT = TypeVar("ReadT")


def load(file: str | Path) -> Scenario:
    """Read and validate a scenario file. Raises InputError with a sentence for all that is wrong."""
    path = Path(file)
    return parse_text(text_of(path), str(path))


def text_of(path: Path) -> str:
    """The text of a TOML file. Raises InputError."""
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(f"{path}: it cannot be read ({error.strerror or error})") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: it is not UTF-8 text, expected TOML in UTF-8") from None


def parse_text(text: str, file: str = "<text>") -> Scenario:
    """Validate the text of a scenario. Raises InputError with a sentence for all that is wrong."""
    scenario = read_text(text, file, from_raw)
    # in a file only: a sweep or a proposal may well try a part that the limits rule out
    if scenario.beside_the_point:
        key = scenario.beside_the_point.partition(":")[0]
        fault = Fault(tuple(key.split(".")), scenario.beside_the_point)
        raise FileErrors(file, [fault]).placed(places_of(text))
    return scenario


def read_text(text: str, file: str, validate: Callable[[dict[str, Any], str], ReadT]) -> ReadT:
    """A TOML text as ``validate`` makes it of its table; errors get their line and column.

    Raises InputError with a sentence for all that is wrong.
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    raw, slips = table_of(text, file)
    try:
        found = validate(raw, file)
    except FileErrors as errors:
        # what was put right to go on reading stands where it stood
        raise FileErrors(file, [*slips, *errors.faults]).placed(places_of(text)) from None
    if slips:
        raise FileErrors(file, slips)
    return found


def from_raw(raw: Mapping[str, Any], file: str = "<table>") -> Scenario:
    """Validate a table as TOML gives it. Raises InputError with a sentence for all that is wrong."""
    return Scenario.from_raw(raw, file)


def changed(scenario: Scenario, path: str, value: Any) -> Scenario:
    """Copy of a scenario with the text or number at ``path`` replaced, validated anew.

    A spread given at the path is kept about the new value. Raises InputError on a path
    that no scenario has (naming the nearest) or on a value that does not fit.
    """
    return scenario.with_values({path: value})
