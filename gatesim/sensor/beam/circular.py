"""A uniformly lit circular beam."""

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

_PHI = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 8193)
_SEGMENT = 0.5 + (_PHI + np.sin(_PHI) * np.cos(_PHI)) / np.pi


@dataclass(frozen=True)
@accepts(diameter="m", offset="m")
class CircularBeam(Beam):
    """A circle of a ``diameter`` (m) at an ``offset`` (m) from the part's axis."""

    diameter: float
    offset: float = 0.0

    @property
    def extent(self) -> float:
        """See `Beam.extent`."""
        return self.diameter

    @property
    def area(self) -> float:
        """See `Beam.area`."""
        return float(np.pi / 4.0 * self.diameter**2)

    def half_chord(self, along: Array) -> Array:
        """See `Beam.half_chord`."""
        chord: Array = np.sqrt(np.maximum(0.0, (0.5 * self.diameter) ** 2 - along**2))
        return chord

    def half_chord_integral(self, along: Array) -> Array:
        """See `Beam.half_chord_integral`: u c/2 + R^2/2 arcsin(u/R)."""
        radius = 0.5 * self.diameter
        share = np.clip(along / radius, -1.0, 1.0)
        half_area: Array = 0.5 * radius**2 * (share * np.sqrt(1.0 - share**2) + np.arcsin(share))
        return half_area

    def meetings(self, piece: Piece, travel: Array) -> Array:
        """See `Beam.meetings`."""
        return piece.meets_circle(0.5 * self.diameter, self.offset, travel)

    def past_edge(self, share: Array, turned: Array) -> Array:
        """See `Beam.past_edge`: a circular segment, share = 1/2 + (phi + sin phi cos phi)/pi at R sin phi."""
        phi = np.interp(share, _SEGMENT, _PHI)
        return np.broadcast_to(0.5 * self.diameter * np.sin(phi), np.broadcast(share, turned).shape)


class CircularBeamTable(BeamTable):
    """A uniformly lit circular beam."""

    shape: Literal["circular"]
    diameter: keys.Length = Field(examples=["2 mm"], description="Beam diameter.")
    offset: keys.Offset = Field(
        default=stated("0 mm", "m"), description="Distance of the beam's axis from the part's axis."
    )

    def build(self) -> CircularBeam:
        """See `BeamTable.build`."""
        return CircularBeam(self.diameter.nominal, self.offset.nominal)

    @property
    def reach(self) -> float:
        """See `BeamTable.reach`."""
        return abs(self.offset.nominal) + 0.5 * self.diameter.nominal

    def narrower(self) -> Suggestion:
        """See `BeamTable.narrower`."""
        return half_as_wide("diameter", self.diameter.nominal)
