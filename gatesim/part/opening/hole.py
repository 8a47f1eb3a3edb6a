"""A hole through the part about its axis."""

from dataclasses import dataclass
from typing import Literal

from gatesim.ground.quantity import accepts
from gatesim.ground.table import Misfit
from gatesim.part.opening.base import Opening, OpeningTable
from gatesim.part.outline import Piece, Straight


@dataclass(frozen=True)
@accepts(start="m", length="m", height="m")
class Hole(Opening):
    """``start`` (m) behind the leading end, ``length`` (m) along the axis.

    It leaves material beyond ``height``/2 (m) on both sides of the axis.
    """

    start: float
    length: float
    height: float

    def lets_through(self, across: float, full: float) -> bool:
        """See `Opening.lets_through`."""
        return across < 0.5 * self.height

    def pieces(self, full: float) -> list[Piece]:
        """See `Opening.pieces`: the part, and the hole taken out of it."""
        first, last = self.start, self.start + self.length
        hole = Straight(first, last, min(0.5 * self.height, full), sign=-1.0)
        return [Straight(first, last, full), hole]


class HoleTable(OpeningTable):
    """A hole through the part, where light passes."""

    kind: Literal["hole"]

    def build(self) -> Hole:
        """See `OpeningTable.build`."""
        assert self.height is not None  # `check` has seen to it
        return Hole(self.start.nominal, self.length.nominal, self.height.nominal)

    def check(self, key: str) -> None:
        """See `OpeningTable.check`."""
        if self.height is None:
            raise Misfit(f"{key}.height", "nothing", 'the height of the hole such as "4 mm"')
