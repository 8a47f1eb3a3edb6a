"""What every end of a part is asked: as a table of a scenario, and as a stage."""

from abc import ABC, abstractmethod
from typing import ClassVar

from gatesim.ground.level import Level
from gatesim.ground.table import Table
from gatesim.part.outline import Piece


class End(ABC):
    """An end of the part: a frozen dataclass, the same in every trial."""

    length: float
    """Along the axis, over which the height grows to the part's own, in m; 0 for a face."""

    @abstractmethod
    def depth_of(self, across: float, full: float) -> float:
        """Depth (m) behind the tip from which an end of half-height ``full`` reaches ``across`` (m)."""

    @abstractmethod
    def pieces(self, full: float, tip: float, *, front: bool) -> list[Piece]:
        """Its outline on a part of half-height ``full`` (m), with the tip at a depth (m)."""


class EndTable(Table):
    """What a user may write of an end, and what others ask of it."""

    per: ClassVar[Level] = "part"
    shape: str

    @abstractmethod
    def build(self) -> End:
        """The stage."""

    @property
    @abstractmethod
    def reach(self) -> float:
        """Length along the axis in m."""

    @property
    @abstractmethod
    def needs_height(self) -> bool:
        """Whether it has no outline on a part of unknown height."""
