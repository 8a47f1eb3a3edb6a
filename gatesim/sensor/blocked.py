"""How much of the light beam a part covers."""

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.part import Part, Piece, pieces_of
from gatesim.sensor.beam import Beam


def blocked_fraction(part: Part, beam: Beam, travel: Array, length: float) -> Array:
    """Share of a beam of some width that the part covers, at travels (k,) of its leading end past the middle.

    The exact overlap of beam and silhouette. Across the path the beam reaches from o - c to
    o + c (offset o, half chord c), the part from -r to r, so that their overlap is
    clip(o + c, -r, r) + clip(c - o, -r, r). Either term is integrated along the path in
    closed form, between the places where o + c = r or -r. ``length`` (m) of the part.
    """
    total = np.zeros(travel.shape)
    for piece in pieces_of(part, length):
        start = np.clip(travel - piece.high, -0.5 * beam.extent, 0.5 * beam.extent)
        end = np.clip(travel - piece.low, -0.5 * beam.extent, 0.5 * beam.extent)
        lit = end > start
        if not lit.any():
            continue
        along = _divisions(piece, beam, travel[lit], start[lit], end[lit])
        for offset in (beam.offset, -beam.offset):
            total[lit] += piece.sign * _clipped(piece, beam, offset, travel[lit], along)
    return np.clip(total / beam.area, 0.0, 1.0)


def _divisions(piece: Piece, beam: Beam, travel: Array, start: Array, end: Array) -> Array:
    """Places along the beam, (k, m), from ``start`` to ``end``, that part where clip changes its branch."""
    meets = beam.meetings(piece, travel)
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
