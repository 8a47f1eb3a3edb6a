"""What a file may state, for people."""

from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from gatesim.api.result import Result
from gatesim.ground.data import data_of
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.scenario.reference import TableEntry, reference


@dataclass(frozen=True, repr=False)
class Keys(Result):
    """Tables with their keys: type, unit, range, default, meaning, and how often a value is drawn."""

    tables: tuple[TableEntry, ...]
    whole: bool

    def __str__(self) -> str:
        from gatesim.view.keystext import keys_text

        return keys_text(self.tables, self.whole)

    def data(self) -> Any:
        """One entry a table."""
        return [data_of(table) for table in self.tables]


def keys(path: str = "", *, choose: bool = False) -> Keys:
    """The reference of a scenario, or with ``choose`` of the file that `choose` takes.

    ``path``: only this table and those within, such as "brake.magnet", or one key. Raises
    InputError for a path that is in neither.
    """
    root: Any = Scenario
    if choose:
        from gatesim.studies.choice.model import ChoiceSections

        root = ChoiceSections
    tables = reference(root)
    if not path:
        return Keys(tables, whole=not choose)
    found = tuple(t for t in tables if any(f"{p}.".startswith(f"{path}.") for p in (t.path, *t.also)))
    if not found:
        around, _, key = path.rpartition(".")
        found = tuple(
            TableEntry(t.path, t.also, t.choice, t.meaning, "", tuple(k for k in t.keys if k.key == key))
            for t in tables
            if around in (t.path, *t.also) and any(k.key == key for k in t.keys)
        )
    if not found:
        paths = list(dict.fromkeys(table.path for table in tables if table.path))
        whole = [*paths, *(f"{t.path}.{k.key}".lstrip(".") for t in tables for k in t.keys)]
        last = path.rpartition(".")[2]
        meant = [p for p in whole if p.rpartition(".")[2] == last] or get_close_matches(path, whole, n=2)
        hint = f"; did you mean {' or '.join(dict.fromkeys(meant[:3]))}?" if meant else ""
        raise InputError(
            f"keys: given {path!r}, expected a table or one of its keys: {', '.join(paths)}{hint}"
        )
    return Keys(found, whole=False)
