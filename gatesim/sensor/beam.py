"""The light beam, and how much of it a part covers."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from gatesim.draw import Array
from gatesim.part import Part

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)


@dataclass(frozen=True)
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

    @property
    def area(self) -> float:
        """Lit area in m^2."""
        return self.width * self.height if self.shape == "slit" else np.pi / 4.0 * self.width**2


def blocked_fraction(part: Part, beam: Beam, travel: Array, length: float) -> Array:
    """Share of the beam that the part covers, at travels (k,) of its leading end past the beam's middle.

    The overlap of beam and silhouette, integrated along the path piece by piece between the
    kinks of the silhouette (Gauss-Legendre in the angle of a circular beam, so that its
    vertical tangents do no harm). ``length`` (m) of the part. A point beam is covered or not.
    """
    if beam.width == 0.0:
        height = _half_height(part, travel, length) > abs(beam.offset)
        inside = (travel >= 0.0) & (travel <= length) & height & ~_open_at(part, travel, abs(beam.offset))
        return inside.astype(float)
    radius = 0.5 * beam.width
    total = np.zeros(travel.shape)
    for low, high in _pieces(part, beam, length):
        # along the beam, the piece of part between depths low and high lies at travel - depth
        start = np.clip(travel - high, -radius, radius)
        end = np.clip(travel - low, -radius, radius)
        lit = end > start
        start, end = start[lit], end[lit]
        a, b = (np.arcsin(edge / radius) for edge in (start, end))
        middle, half = 0.5 * (a + b), 0.5 * (b - a)
        angle = middle[:, None] + half[:, None] * _NODES
        along = radius * np.sin(angle)
        covered = _covered(part, beam, travel[lit, None] - along, along, length, 0.5 * (low + high))
        total[lit] += half * ((covered * radius * np.cos(angle)) @ _WEIGHTS)
    return np.clip(total / beam.area, 0.0, 1.0)


def _pieces(part: Part, beam: Beam, length: float) -> list[tuple[float, float]]:
    """Depths behind the leading end between which the silhouette has no kink."""
    marks = {0.0, length, part.front.length, length - part.rear.length}
    for opening in part.openings:
        marks |= {opening.start, opening.start + opening.length}
    marks |= _crossed(part, beam, length)
    inside = sorted(mark for mark in marks if 0.0 <= mark <= length)
    return [(a, b) for a, b in pairwise(inside) if b > a]


def _crossed(part: Part, beam: Beam, length: float) -> set[float]:
    """Cuts within shaped ends, where the silhouette meets a curved beam at no fixed depth."""
    cuts = set()
    for number in range(1, 8):
        cuts |= {part.front.length * number / 8, length - part.rear.length * number / 8}
    return cuts


def _half_height(part: Part, depth: Array, length: float) -> Array:
    full = 0.5 * part.height
    return np.minimum(part.front.half_height(depth, full), part.rear.half_height(length - depth, full))


def _open_at(part: Part, depth: Array, across: float) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Whether light passes an opening at these depths and this distance from the axis."""
    found = np.zeros(depth.shape, bool)
    for opening in part.openings:
        here = (depth >= opening.start) & (depth <= opening.start + opening.length)
        notch = across > 0.5 * part.height - opening.height or np.isinf(opening.height)
        found |= here & (across < 0.5 * opening.height if opening.kind == "hole" else notch)
    return found


def _covered(part: Part, beam: Beam, depth: Array, along: Array, length: float, at: float) -> Array:
    """Covered extent across the beam, for depths within the piece of the silhouette around ``at``."""
    chord = beam.half_chord(along)
    low, high = beam.offset - chord, beam.offset + chord
    half = _half_height(part, depth, length)
    hole = np.zeros(1)
    for opening in part.openings:
        if opening.start <= at <= opening.start + opening.length:
            if opening.kind == "hole":
                hole = np.full(1, 0.5 * opening.height)
            else:
                half = np.zeros(1) if np.isinf(opening.height) else np.maximum(0.0, half - opening.height)

    def overlap(reach: Array) -> Array:
        return np.maximum(0.0, np.minimum(high, reach) - np.maximum(low, -reach))

    covered: Array = overlap(half) - overlap(np.minimum(hole, half))
    return covered
