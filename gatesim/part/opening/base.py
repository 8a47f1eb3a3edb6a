"""What every opening of a part is asked: as a table of a scenario, and as a stage."""

from abc import ABC, abstractmethod
from typing import ClassVar

from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.level import Level
from gatesim.ground.table import Table
from gatesim.part.outline import Piece


class Opening(ABC):
    """Where light passes: a frozen dataclass, the same in every trial."""

    start: float
    """Distance behind the leading end in m."""

    length: float
    """Along the axis in m."""

    @abstractmethod
    def lets_through(self, across: float, full: float) -> bool:
        """Whether light passes at a distance from the axis (m) of a part of half-height ``full``."""

    @abstractmethod
    def pieces(self, full: float) -> list[Piece]:
        """What is left of a part of half-height ``full`` (m) over its length."""


class OpeningTable(Table):
    """What a user may write of an opening, and what others ask of it."""

    per: ClassVar[Level] = "part"
    kind: str
    start: keys.Distance = Field(description="Distance of the opening behind the leading end.")
    length: keys.Length = Field(description="Length of the opening along the axis.")
    height: keys.Length | None = Field(
        default=None, description="Full height of a hole about the axis; depth of a notch from both sides."
    )

    @abstractmethod
    def build(self) -> Opening:
        """The stage."""

    def check(self, key: str) -> None:
        """Raise Misfit where something is missing; ``key`` of the table."""
