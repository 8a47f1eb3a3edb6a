"""An end whose height grows as an ellipse."""

import math
from dataclasses import dataclass
from typing import Literal

from gatesim.ground.quantity import accepts
from gatesim.part.end.base import End
from gatesim.part.end.shaped import ShapedEndTable
from gatesim.part.outline import Arc, Piece


@dataclass(frozen=True)
@accepts(length="m")
class RoundEnd(End):
    """An ellipse over a ``length`` (m): a hemisphere where that is half the part's height."""

    length: float

    def depth_of(self, across: float, full: float) -> float:
        """See `End.depth_of`."""
        return 0.0 if across <= 0.0 else self.length * (1.0 - math.sqrt(1.0 - (across / full) ** 2))

    def pieces(self, full: float, tip: float, *, front: bool) -> list[Piece]:
        """See `End.pieces`."""
        base = tip + (1.0 if front else -1.0) * self.length
        return [Arc(min(tip, base), max(tip, base), base, self.length, full)]


class RoundEndTable(ShapedEndTable):
    """A hemispherical end, or half of an ellipsoid, of its own length along the axis."""

    shape: Literal["round"]

    def build(self) -> RoundEnd:
        """See `EndTable.build`."""
        return RoundEnd(self.length.nominal)
