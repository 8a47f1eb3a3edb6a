"""Signal of the receiver while a part passes, and the travels at which the output switches."""

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gatesim.draw import Array
from gatesim.part import Part
from gatesim.quantity import Scalar, first_of
from gatesim.sensor.beam import Beam, blocked_fraction

RUN_NODES = 1025
"""Nodes across one feature of the silhouette; the travel between them is interpolated."""


@dataclass(frozen=True)
class Run:
    """A stretch over which the blocked share only rises or only falls.

    ``travel`` (k,) of the leading end past the beam in m, ``share`` (k,) of the beam blocked;
    ``from_rear`` says that the stretch moves with the part's rear end.
    """

    travel: Array
    share: Array
    rising: bool
    from_rear: bool


@lru_cache(maxsize=64)
def runs(outline: Part, beam: Beam) -> tuple[Run, ...]:
    """The monotone stretches of the blocked share as a part of this outline passes.

    ``outline`` as `gatesim.part.Part.silhouette` gives it.
    """
    length = float(outline.length)
    travel = _grid(outline, beam, length)
    share = blocked_fraction(outline, beam, travel, length)
    # rounding in the flat stretches must not look like a slope
    share = np.round(share, 12)
    slope = np.sign(np.diff(share))
    known = np.flatnonzero(slope)
    if known.size == 0:
        return ()
    # flat steps belong to the stretch before them
    filled = slope[known[np.maximum(0, np.searchsorted(known, np.arange(slope.size), side="right") - 1)]]
    cuts = np.flatnonzero(np.diff(filled)) + 1
    bounds = np.concatenate([[0], cuts, [slope.size]])
    middle = 0.5 * length
    return tuple(
        Run(travel[a : b + 1], share[a : b + 1], bool(filled[a] > 0.0), bool(travel[a] > middle))
        for a, b in pairwise(bounds)
    )


def _grid(part: Part, beam: Beam, length: float) -> Array:
    """Travels dense around every feature of the silhouette, cosine-spaced towards its ends."""
    radius = 0.5 * beam.width
    spans = [(0.0, part.front.length), (length - part.rear.length, length)]
    spans += [(o.start, o.start) for o in part.openings]
    spans += [(o.start + o.length, o.start + o.length) for o in part.openings]
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.linspace(0.0, 1.0, RUN_NODES))
    nodes = []
    for low, high in spans:
        start, end = low - radius - 1e-12, high + radius + 1e-12
        nodes.append(start + (end - start) * ramp)
    # np.unique would load numpy.ma, which is felt at start-up
    ordered = np.sort(np.concatenate(nodes))
    return ordered[np.diff(ordered, prepend=-np.inf) > 0.0]


@dataclass(frozen=True)
class Switching:
    """Where the output switches: ``travel`` (n, e) of the leading end past the beam's middle in m.

    Alternately to dark and to light, +inf where there is none. ``run`` (n, e) is the index
    into ``runs`` of the stretch in which it happens, -1 where there is none.
    """

    travel: Array
    run: NDArray[np.int64]
    runs: tuple[Run, ...]


def switching(
    part: Part, beam: Beam, dark_fraction: Scalar, light_fraction: Scalar, drawn_length: float
) -> Switching:
    """Where the output of a gate switches while a part passes.

    The output goes dark where the blocked share rises through ``dark_fraction`` and light
    where it falls through ``light_fraction``. The outline is taken at ``drawn_length`` (m),
    the same for every trial; what belongs to the rear end moves with the length of each.

    A tilt psi turns the faces against the path: along the path every distance grows by
    1/cos(psi), and a beam off the axis meets both faces later by offset * tan(psi). The
    change at the corners of a narrow part is neglected.
    """
    shape = np.broadcast_shapes(
        *(np.shape(v) for v in (part.length, part.tilt, dark_fraction, light_fraction)), (1,)
    )
    n = shape[0]
    longer = np.broadcast_to(np.asarray(part.length) - drawn_length, (n,))
    dark_share, light_share = (np.broadcast_to(np.asarray(f), (n,)) for f in (dark_fraction, light_fraction))
    found = runs(part.silhouette(drawn_length), beam)
    if beam.width == 0.0:
        found = tuple(_sharp(run) for run in found)
    edges = np.full((n, max(2, len(found) + len(found) % 2)), np.inf)
    which = np.full(edges.shape, -1)
    dark = np.zeros(n, bool)
    used = np.zeros(n, int)
    for number, run in enumerate(found):
        share = dark_share if run.rising else light_share
        reaches = (run.share.min() <= share) & (share <= run.share.max()) & (dark != run.rising)
        values = run.share if run.rising else run.share[::-1]
        at = np.interp(share, values, run.travel if run.rising else run.travel[::-1])
        at = at + longer if run.from_rear else at
        edges[np.flatnonzero(reaches), used[reaches]] = at[reaches]
        which[np.flatnonzero(reaches), used[reaches]] = number
        used += reaches
        dark ^= reaches
    return Switching(_tilted(edges, part.tilt, beam.offset), which, found)


def _sharp(run: Run) -> Run:
    """A run of a point beam: covered or not, with nothing in between."""
    middle = float(np.round(run.travel[:-1][np.diff(run.share) != 0.0][0], 11))
    return replace(run, travel=np.full(2, middle), share=run.share[[0, -1]])


def _tilted(edges: Array, tilt: Scalar, offset: float) -> Array:
    if not np.any(tilt):
        return edges
    angle = np.asarray(tilt, float)
    angle = angle[:, None] if angle.ndim else angle
    return edges / np.cos(angle) + offset * np.tan(angle)


_DRAWN = 16
"""One in so many nodes of a stretch is enough to follow the blocked share by straight lines."""


def blocked_over_travel(part: Part, beam: Beam) -> tuple[Array, Array]:
    """Travels (k,) of one part's leading end past the beam's middle in m, and shares (k,) blocked there.

    Straight lines between them follow the share to a few parts in 1e4.
    """
    length = first_of(part.length)
    travel, share = [], []
    for run in runs(part.silhouette(length), beam):
        at = _sharp(run) if beam.width == 0.0 else run
        travel.append(np.append(at.travel[:-1:_DRAWN], at.travel[-1]))
        share.append(np.append(at.share[:-1:_DRAWN], at.share[-1]))
    if not travel:
        return np.zeros(0), np.zeros(0)
    where = _tilted(np.concatenate(travel)[None, :], first_of(part.tilt), beam.offset)[0]
    return where, np.concatenate(share)
