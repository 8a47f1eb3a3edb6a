"""A notch from both sides, or all the way across."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from gatesim.ground.quantity import accepts
from gatesim.part.opening.base import Opening, OpeningTable
from gatesim.part.outline import Piece, Straight


@dataclass(frozen=True)
@accepts(start="m", length="m", height="m")
class Notch(Opening):
    """``start`` (m) behind the leading end, ``length`` (m) along the axis.

    It takes ``height`` (m, infinite: all of the part) from both sides.
    """

    start: float
    length: float
    height: float = np.inf

    def lets_through(self, across: float, full: float) -> bool:
        """See `Opening.lets_through`."""
        return np.isinf(self.height) or across > full - self.height

    def pieces(self, full: float) -> list[Piece]:
        """See `Opening.pieces`."""
        if self.height >= full:
            return []
        return [Straight(self.start, self.start + self.length, full - self.height)]


class NotchTable(OpeningTable):
    """A notch across the part, where light passes."""

    kind: Literal["notch"]

    def build(self) -> Notch:
        """See `OpeningTable.build`."""
        height = np.inf if self.height is None else self.height.nominal
        return Notch(self.start.nominal, self.length.nominal, height)
