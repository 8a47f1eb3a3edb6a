"""Where the output switches on a part that is turned in the plane of the beam."""

import numpy as np

from gatesim.ground.arrays import Array, Scalar
from gatesim.part import Part
from gatesim.sensor.beam import Beam

SURELY = 1.0 - 1e-9
"""Of a bound, so that rounding leaves it one."""


def tilted(
    edges: Array, part: Part, beam: Beam, length: Array, shares: tuple[Scalar, Scalar] = (0.5, 0.5)
) -> Array:
    """Switching travels (n, e) of a part turned by its tilt psi about its middle.

    Along the path every distance from the middle grows by 1/cos(psi), and a beam off the
    axis meets both faces later by offset * tan(psi), on the side that the tilt turns back. A
    part that enters or leaves the beam through a long side, half its height from the axis, switches
    where that covers the threshold of ``shares`` (dark, light), unless a corner is in the beam as well.
    A slit's own slant against the face is neglected.
    """
    if not np.any(part.tilt):
        return edges
    tilt, middle = np.atleast_1d(np.asarray(part.tilt, float)), 0.5 * np.atleast_1d(length)
    # a row for each edge, all trials at once
    turned: Array = middle + (edges.T - middle) / np.cos(tilt)
    if beam.offset:
        turned += beam.offset * np.tan(tilt)
    if np.isinf(part.height):
        return turned.T
    # no straight edge that covers some of the beam is further from its middle than the beam reaches
    reach = float(beam.half_chord(np.zeros(1))[0]) + 0.5 * beam.extent + abs(beam.offset)
    lateral = np.abs(turned - middle).max(axis=0) * np.abs(tilt) + reach  # no sine is larger than its angle
    if (some := np.flatnonzero(~(lateral < SURELY * 0.5 * part.height))).size:
        each = (middle, tilt, *(np.asarray(share, float) for share in shares))
        own = [np.broadcast_to(value, lateral.shape)[some] for value in each]
        turned[:, some] = _by_the_sides(turned[:, some], part, beam, *own)
    return turned.T


def _by_the_sides(
    turned: Array, part: Part, beam: Beam, middle: Array, tilt: Array, enter: Array, leave: Array
) -> Array:
    """Travels (e, m) no earlier and no later than the long sides cover the thresholds; see `tilted`."""
    half = 0.5 * part.height * np.array([[1.0], [-1.0]])
    with np.errstate(divide="ignore", invalid="ignore"):  # a part that is not turned has no such side
        sides = middle + (half - beam.offset * np.cos(tilt)) / np.sin(tilt)
    sides = np.where(np.isnan(sides), np.inf, sides)
    past = np.stack([beam.past_edge(enter, tilt), -beam.past_edge(leave, tilt)])
    with np.errstate(divide="ignore", invalid="ignore"):
        slid = np.sort(sides, axis=0) + past / np.abs(np.sin(tilt))
    low, high = np.where(tilt == 0.0, [[-np.inf], [np.inf]], slid)
    return np.where(np.isinf(turned), turned, np.clip(turned, low, high))
