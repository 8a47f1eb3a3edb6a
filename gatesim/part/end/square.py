"""A face square to the axis."""

from dataclasses import dataclass
from typing import Literal

from gatesim.part.end.base import End, EndTable
from gatesim.part.outline import Piece


@dataclass(frozen=True)
class SquareEnd(End):
    """A face square to the axis."""

    length: float = 0.0

    def depth_of(self, across: float, full: float) -> float:
        """See `End.depth_of`."""
        return 0.0

    def pieces(self, full: float, tip: float, *, front: bool) -> list[Piece]:
        """See `End.pieces`."""
        return []


class SquareEndTable(EndTable):
    """A face square to the axis."""

    shape: Literal["square"]

    def build(self) -> SquareEnd:
        """See `EndTable.build`."""
        return SquareEnd()

    @property
    def reach(self) -> float:
        """See `EndTable.reach`."""
        return 0.0

    @property
    def needs_height(self) -> bool:
        """See `EndTable.needs_height`."""
        return False
