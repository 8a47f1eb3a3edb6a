"""A uniformly lit slit."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.arrays import Array
from gatesim.ground.quantity import accepts, stated
from gatesim.ground.suggestion import Suggestion
from gatesim.part import Piece
from gatesim.sensor.beam.base import Beam, BeamTable, half_as_wide


@dataclass(frozen=True)
@accepts(width="m", height="m", offset="m")
class SlitBeam(Beam):
    """``width`` (m) along the path, ``height`` (m) across it, ``offset`` (m) of its middle from the axis."""

    width: float
    height: float
    offset: float = 0.0

    @property
    def extent(self) -> float:
        """See `Beam.extent`."""
        return self.width

    @property
    def area(self) -> float:
        """See `Beam.area`."""
        return self.width * self.height

    def half_chord(self, along: Array) -> Array:
        """See `Beam.half_chord`."""
        return np.full(along.shape, 0.5 * self.height)

    def half_chord_integral(self, along: Array) -> Array:
        """See `Beam.half_chord_integral`."""
        return 0.5 * self.height * along

    def meetings(self, piece: Piece, travel: Array) -> Array:
        """See `Beam.meetings`."""
        reaches = {abs(side * self.offset + 0.5 * self.height) for side in (1.0, -1.0)}
        depths = np.array([depth for reach in reaches for depth in piece.depth_of(reach)])
        places: Array = travel[:, None] - depths
        return places

    def past_edge(self, share: Array, turned: Array) -> Array:
        """See `Beam.past_edge`: distances from the edge are the sum of two uniform ones, a trapezoid."""
        across = 0.5 * self.height * np.abs(np.cos(turned))
        along = 0.5 * self.width * np.abs(np.sin(turned))
        base, top = across + along, np.abs(across - along)
        tail = np.minimum(share, 1.0 - share)
        on_slope = base - np.sqrt(2.0 * tail * (base**2 - top**2))
        on_top = (base + top) * (0.5 - tail)
        past: Array = np.where(tail < (base - top) / (2.0 * (base + top)), on_slope, on_top)
        return np.copysign(past, share - 0.5)


class SlitBeamTable(BeamTable):
    """A uniformly lit slit."""

    shape: Literal["slit"]
    width: keys.Length = Field(description="Width along the path.")
    height: keys.Length = Field(description="Height across the path.")
    offset: keys.Offset = Field(
        default=stated("0 mm", "m"), description="Distance of the slit's middle from the part's axis."
    )

    def build(self) -> SlitBeam:
        """See `BeamTable.build`."""
        return SlitBeam(self.width.nominal, self.height.nominal, self.offset.nominal)

    @property
    def reach(self) -> float:
        """See `BeamTable.reach`."""
        return abs(self.offset.nominal) + 0.5 * self.height.nominal

    def narrower(self) -> Suggestion:
        """See `BeamTable.narrower`."""
        return half_as_wide("width", self.width.nominal)
