"""A beam without width."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.quantity import accepts
from gatesim.part import Piece
from gatesim.sensor.beam.base import Beam, BeamTable


@dataclass(frozen=True)
@accepts(offset="m")
class PointBeam(Beam):
    """A beam without width at an ``offset`` (m) from the part's axis: covered or not."""

    offset: float = 0.0

    @property
    def extent(self) -> float:
        """See `Beam.extent`."""
        return 0.0

    @property
    def area(self) -> float:
        """See `Beam.area`."""
        return 0.0

    def half_chord(self, along: Array) -> Array:
        """See `Beam.half_chord`."""
        return np.zeros(along.shape)

    def half_chord_integral(self, along: Array) -> Array:
        """See `Beam.half_chord_integral`."""
        return np.zeros(along.shape)

    def meetings(self, piece: Piece, travel: Array) -> Array:
        """See `Beam.meetings`."""
        return np.full((travel.size, 1), np.nan)

    def past_edge(self, share: Array, turned: Array) -> Array:
        """See `Beam.past_edge`: covered or not."""
        return np.zeros(np.broadcast(share, turned).shape)


class PointBeamTable(BeamTable):
    """A beam without width."""

    shape: Literal["point"]

    def build(self) -> PointBeam:
        """See `BeamTable.build`."""
        return PointBeam()

    @property
    def reach(self) -> float:
        """See `BeamTable.reach`."""
        return 0.0

    def narrower(self) -> None:
        """See `BeamTable.narrower`."""
