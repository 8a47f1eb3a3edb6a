"""The light beam, and how much of it a part covers."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.quantity import accepts
from gatesim.part import Part
from gatesim.sensor.outline import Piece, pieces_of


@dataclass(frozen=True)
@accepts(width="m", height="m", offset="m")
class Beam:
    """A uniformly lit beam.

    ``width`` (m) along the path: diameter of a circular beam, 0 for a point. ``height`` (m)
    across, of a slit. ``offset`` (m) of its middle from the part's axis.
    """

    shape: Literal["point", "circular", "slit"] = "point"
    width: float = 0.0
    height: float = 0.0
    offset: float = 0.0

    def half_chord(self, along: Array) -> Array:
        """Half of the beam's extent across the path at a distance along it from the middle."""
        if self.shape == "slit":
            return np.full(along.shape, 0.5 * self.height)
        return np.sqrt(np.maximum(0.0, (0.5 * self.width) ** 2 - along**2))

    def half_chord_integral(self, along: Array) -> Array:
        """Integral of the half chord from the middle: for a circle u c/2 + R^2/2 arcsin(u/R)."""
        if self.shape == "slit":
            return 0.5 * self.height * along
        radius = 0.5 * self.width
        share = np.clip(along / radius, -1.0, 1.0)
        half_area: Array = 0.5 * radius**2 * (share * np.sqrt(1.0 - share**2) + np.arcsin(share))
        return half_area

    @property
    def area(self) -> float:
        """Lit area in m^2."""
        return self.width * self.height if self.shape == "slit" else np.pi / 4.0 * self.width**2


def blocked_fraction(part: Part, beam: Beam, travel: Array, length: float) -> Array:
    """Share of a beam of some width that the part covers, at travels (k,) of its leading end past the middle.

    The exact overlap of beam and silhouette. Across the path the beam reaches from o - c to
    o + c (offset o, half chord c), the part from -r to r, so that their overlap is
    clip(o + c, -r, r) + clip(c - o, -r, r). Either term is integrated along the path in
    closed form, between the places where o + c = r or -r. ``length`` (m) of the part.
    """
    total = np.zeros(travel.shape)
    for piece in pieces_of(part, length):
        start = np.clip(travel - piece.high, -0.5 * beam.width, 0.5 * beam.width)
        end = np.clip(travel - piece.low, -0.5 * beam.width, 0.5 * beam.width)
        lit = end > start
        if not lit.any():
            continue
        along = _divisions(piece, beam, travel[lit], start[lit], end[lit])
        for offset in (beam.offset, -beam.offset):
            total[lit] += piece.sign * _clipped(piece, beam, offset, travel[lit], along)
    return np.clip(total / beam.area, 0.0, 1.0)


def _divisions(piece: Piece, beam: Beam, travel: Array, start: Array, end: Array) -> Array:
    """Places along the beam, (k, m), from ``start`` to ``end``, that part where clip changes its branch."""
    if beam.shape == "slit":
        reaches = {abs(side * beam.offset + 0.5 * beam.height) for side in (1.0, -1.0)}
        meets = travel[:, None] - np.array([depth for reach in reaches for depth in piece.depth_of(reach)])
    else:
        meets = piece.meets_circle(0.5 * beam.width, beam.offset, travel)
    # no meeting (NaN) or one elsewhere: a division of no length
    meets = np.where(np.isnan(meets), start[:, None], np.clip(meets, start[:, None], end[:, None]))
    along = np.column_stack([start, meets, end])
    along.sort(axis=1)
    return along


def _clipped(piece: Piece, beam: Beam, offset: float, travel: Array, along: Array) -> Array:
    """Integral of clip(offset + c, -r, r) over the divisions of the beam (k, m), (k,)."""
    low, high, at = along[:, :-1], along[:, 1:], travel[:, None]
    middle = 0.5 * (low + high)
    chord, reach = offset + beam.half_chord(middle), piece.reach(at - middle)
    chords = offset * (high - low) + beam.half_chord_integral(high) - beam.half_chord_integral(low)
    # the depth behind the leading end falls along the beam
    reaches = piece.reach_integral(at - low) - piece.reach_integral(at - high)
    parts = np.where(chord > reach, reaches, np.where(chord < -reach, -reaches, chords))
    area: Array = parts.sum(axis=1)
    return area
