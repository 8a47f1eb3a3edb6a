"""What every table of a scenario file has in common, and the values of one in a trial."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict

from gatesim.ground.arrays import Scalar
from gatesim.ground.level import Level
from gatesim.ground.quantity import Quantity


class Table(BaseModel):
    """A table of the file: frozen, unknown keys refused.

    ``per``: how often its quantities are drawn where the file does not say; ``per_key``: those
    that differ from the rest of the table. ``synonyms``: other words of the trade for its keys,
    ``called``: for the table itself; they are not read, but told what to write instead.
    ``drawing``: which length is which, in plain characters.
    """

    # a validator of its own when one is asked for: most tables are read as part of a scenario
    model_config = ConfigDict(
        frozen=True, extra="forbid", arbitrary_types_allowed=True, protected_namespaces=(), defer_build=True
    )
    per: ClassVar[Level] = "rig"
    per_key: ClassVar[Mapping[str, Level]] = {}
    synonyms: ClassVar[Mapping[str, str]] = {}
    called: ClassVar[tuple[str, ...]] = ()
    drawing: ClassVar[str] = ""

    @classmethod
    def level(cls, key: str) -> Level:
        """How often the quantity at a key is drawn where the file does not say."""
        return cls.per_key.get(key, cls.per)


class Misfit(ValueError):
    """A key that is well formed but does not fit the rest of the rig."""

    def __init__(self, key: str, given: str, expected: str) -> None:
        super().__init__(f"{key}|{given}|{expected}")

    @property
    def key(self) -> str:
        """Dotted path of the key."""
        return str(self).split("|")[0]

    @property
    def sentence(self) -> str:
        """For people."""
        key, given, expected = str(self).split("|")
        return f"{key}: given {given}, expected {expected}"


class Misfits(ValueError):
    """Several keys that do not fit the rest of the rig, or one."""

    def __init__(self, each: Sequence[Misfit]) -> None:
        super().__init__("; ".join(misfit.sentence for misfit in each))
        self.each = tuple(each)


@dataclass(frozen=True)
class TableValues:
    """The values of one table of a scenario by key; ``suffix`` picks a gate's own, as in ``@1``.

    ``quantities``: as the scenario states them, where a stage works something out for the nominal ones.
    """

    values: Mapping[str, Scalar]
    name: str
    suffix: str = ""
    quantities: Mapping[str, Quantity] = field(default_factory=dict)

    def __getitem__(self, key: str) -> Scalar:
        return self.values[f"{self.name}.{key}{self.suffix}"]

    def get(self, key: str, default: Any = None) -> Any:
        """The value, or the default where the scenario does not state the quantity."""
        return self.values.get(f"{self.name}.{key}{self.suffix}", default)

    def all(self, *keys: str) -> dict[str, Scalar]:
        """The values of these keys, for a dataclass whose fields have the same names."""
        return {key: self[key] for key in keys}

    def inner(self, name: str) -> "TableValues":
        """The values of a table within this one."""
        return TableValues(self.values, f"{self.name}.{name}", self.suffix, self.quantities)
