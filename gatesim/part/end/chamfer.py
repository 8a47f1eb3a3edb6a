"""An end whose height grows evenly from the tip's."""

from dataclasses import dataclass
from typing import Literal

from gatesim.ground.quantity import accepts
from gatesim.part.end.base import End
from gatesim.part.end.shaped import ShapedEndTable
from gatesim.part.outline import Piece, Straight


@dataclass(frozen=True)
@accepts(length="m", tip_height="m")
class ChamferedEnd(End):
    """The height grows evenly from ``tip_height`` (m) to the part's own over a ``length`` (m)."""

    length: float
    tip_height: float = 0.0

    def depth_of(self, across: float, full: float) -> float:
        """See `End.depth_of`."""
        tip = 0.5 * self.tip_height
        return 0.0 if across <= tip else self.length * (across - tip) / (full - tip)

    def pieces(self, full: float, tip: float, *, front: bool) -> list[Piece]:
        """See `End.pieces`."""
        towards = 1.0 if front else -1.0
        base = tip + towards * self.length
        slope = towards * (full - 0.5 * self.tip_height) / self.length
        return [Straight(min(tip, base), max(tip, base), 0.5 * self.tip_height - slope * tip, slope)]


class ChamferedEndTable(ShapedEndTable):
    """A chamfered end of its own length along the axis."""

    shape: Literal["chamfer"]

    def build(self) -> ChamferedEnd:
        """See `EndTable.build`."""
        return ChamferedEnd(self.length.nominal, self.tip)
