"""Blocked share of a beam while a part passes, and the travels at which the output switches."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Scalar, first_of
from gatesim.part import Part
from gatesim.sensor.beam import Beam
from gatesim.sensor.blocked import blocked_fraction
from gatesim.sensor.tilt import tilted

RUN_NODES = 4097
"""Nodes across one feature of the silhouette: linear between them, a switching point is good
to 1e-7 of the beam's width."""

DRAWN = 64
"""One in so many nodes is enough to follow the blocked share to 1e-3 by straight lines."""

STEEP = 1e-9
"""Half of the travel in m over which a beam without width is drawn to darken."""


@dataclass(frozen=True, eq=False)
class Run:
    """A stretch over which the blocked share only rises or only falls.

    ``travel`` (k,) of the leading end past the beam in m, ``share`` (k,) of the beam blocked;
    ``from_rear`` says that the stretch moves with the part's rear end, ``last`` that no other follows.
    """

    travel: Array
    share: Array
    rising: bool
    from_rear: bool
    last: bool

    def reached(self, share: Array | float) -> Array:
        """Travel at which the light crosses a share; of the ends where it does not."""
        order = slice(None) if self.rising else slice(None, None, -1)
        at: Array = np.asarray(np.interp(share, self.share[order], self.travel[order]))
        return at


@dataclass(frozen=True, eq=False)
class Variant:
    """A dimension of outline or beam that differs from trial to trial by ``off`` (n,) m.

    ``low``, ``high``: outline and beam where it is less and more by ``step`` (m).
    """

    off: Array
    step: float
    low: tuple[Part, Beam]
    high: tuple[Part, Beam]

    def shift(self, number: int, share: Array | float, at: Array, length: float) -> Array:
        """How much later (m) the edge of a stretch comes, to second order in ``off``."""
        low, high = (
            runs(part.silhouette(length), beam)[number].reached(share) for part, beam in (self.low, self.high)
        )
        slope, bend = (high - low) / (2.0 * self.step), (high - 2.0 * at + low) / self.step**2
        return np.asarray((slope + 0.5 * bend * self.off) * self.off)


@lru_cache(maxsize=256)
def runs(outline: Part, beam: Beam) -> tuple[Run, ...]:
    """The monotone stretches of the blocked share as a part of this outline passes.

    ``outline`` as `gatesim.part.Part.silhouette` gives it.
    """
    length = first_of(outline.length)
    if beam.extent == 0.0:
        return _sharp_runs(outline, abs(beam.offset), length)
    travel = _grid(outline, beam, length)
    # rounding in the flat stretches must not look like a slope
    share = np.round(blocked_fraction(outline, beam, travel, length), 12)
    slope = np.sign(np.diff(share))
    known = np.flatnonzero(slope)
    if known.size == 0:
        return ()
    # flat steps belong to the stretch before them
    filled = slope[known[np.maximum(0, np.searchsorted(known, np.arange(slope.size), side="right") - 1)]]
    cuts = np.flatnonzero(np.diff(filled)) + 1
    bounds = [0, *cuts.tolist(), slope.size]
    found = [(travel[a : b + 1], share[a : b + 1], bool(filled[a] > 0.0)) for a, b in pairwise(bounds)]
    return _numbered(found)


def _numbered(found: list[tuple[Array, Array, bool]]) -> tuple[Run, ...]:
    """The stretches in order; openings are placed from the leading end: only the last is the rear's."""
    return tuple(
        Run(travel, share, rising, from_rear=number == len(found), last=number == len(found))
        for number, (travel, share, rising) in enumerate(found, start=1)
    )


def _sharp_runs(part: Part, across: float, length: float) -> tuple[Run, ...]:
    """Stretches of a beam without width at a distance from the axis: covered or not."""
    full = 0.5 * part.height
    if across >= full:
        return ()
    edges = [part.front.depth_of(across, full)]
    for opening in part.openings:
        if opening.lets_through(across, full):
            edges += [opening.start, opening.start + opening.length]
    edges.append(length - part.rear.depth_of(across, full))
    share = (np.array([0.0, 1.0, 1.0]), np.array([1.0, 0.0, 0.0]))
    # flat up to the next edge, for which a receiver has that long to follow
    following = [*edges[1:], edges[-1]]
    return _numbered(
        [
            (np.array([edge, edge, until]), share[number % 2], number % 2 == 0)
            for number, (edge, until) in enumerate(zip(edges, following, strict=True))
        ]
    )


def _grid(part: Part, beam: Beam, length: float) -> Array:
    """Travels dense around every feature of the silhouette, cosine-spaced towards its ends."""
    radius = 0.5 * beam.extent
    spans = [(0.0, part.front.length), (length - part.rear.length, length)]
    spans += [(o.start, o.start) for o in part.openings]
    spans += [(o.start + o.length, o.start + o.length) for o in part.openings]
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.linspace(0.0, 1.0, RUN_NODES))
    nodes = np.sort(np.concatenate([low - radius + (high - low + beam.extent) * ramp for low, high in spans]))
    # np.unique would load numpy.ma, which is felt at start-up
    return nodes[np.diff(nodes, prepend=-np.inf) > 0.0]


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
    part: Part,
    beam: Beam,
    dark_fraction: Scalar,
    light_fraction: Scalar,
    drawn_length: float,
    angle: Scalar = 0.0,
    variants: Sequence[Variant] = (),
) -> Switching:
    """Where the output of a gate switches while a part passes.

    The output goes dark where the blocked share rises through ``dark_fraction`` and light
    where it falls through ``light_fraction`` (at most the dark one). The outline is taken at
    ``drawn_length`` (m), the same for every trial; what belongs to the rear end moves with
    the length of each. ``angle`` (rad) of the beam off the square across the path.
    ``variants``: dimensions of outline and beam that differ from trial to trial.
    """
    found = runs(part.silhouette(drawn_length), beam)
    lengths = np.asarray(part.length, float)
    longer = lengths - drawn_length
    if np.any(light_fraction > dark_fraction):
        light_fraction = np.minimum(dark_fraction, light_fraction)
    varying = (lengths, part.tilt, dark_fraction, light_fraction, angle, *(v.off for v in variants))
    shape = np.broadcast_shapes(*(np.shape(v) for v in varying))
    n = shape[0] if shape else 1
    # a row for each edge, turned: stretch by stretch all trials at once
    edges = np.full((max(2, len(found) + len(found) % 2), n), np.inf).T
    which = np.full(edges.T.shape, -1).T
    dark, used = np.zeros(n, bool), np.zeros(n, np.int64)
    for number, run in enumerate(found):
        share = np.asarray(dark_fraction if run.rising else light_fraction, float)
        low, high = (run.share[0], run.share[-1]) if run.rising else (run.share[-1], run.share[0])
        reaches = (low <= share) & (share <= high) & (dark != run.rising)
        at = run.reached(share)
        at = at + sum(v.shift(number, share, at, drawn_length) for v in variants) if variants else at
        at = np.broadcast_to(at + longer if run.from_rear else at, (n,))
        _set(edges, which, np.broadcast_to(reaches, (n,)), used, at, number)
        used += reaches
        dark = dark ^ reaches
    edges = _slanted(edges, which, found, part, lengths, angle)
    return Switching(tilted(edges, part, beam, lengths, (dark_fraction, light_fraction)), which, found)


def _set(
    edges: Array,
    which: NDArray[np.int64],
    reaches: NDArray[np.bool_],
    used: NDArray[np.int64],
    at: Array,
    number: int,
) -> None:
    """Write the edges of one stretch behind those that each trial has already."""
    if reaches.all() and (used == used[0]).all():
        edges[:, used[0]], which[:, used[0]] = at, number
        return
    rows = np.flatnonzero(reaches)
    edges[rows, used[rows]], which[rows, used[rows]] = at[rows], number


def _slanted(
    edges: Array, which: NDArray[np.int64], found: tuple[Run, ...], part: Part, length: Array, angle: Scalar
) -> Array:
    """Switching travels (n, e) at a beam that crosses the path at an ``angle`` (rad) off the square.

    It sees the near and the far edge of a part of some width, so that material is longer by
    width * tan(angle), half of it at either end, and an opening as much shorter: what it does not see
    through is not there (inf). Across itself the beam sees the path shortened by cos(angle), so that
    its own width counts for more along the path; exact for square ends. An offset along the beam,
    which moves all edges of a gate alike, is part of the gate's position.
    """
    if not np.any(angle):
        return edges
    turned = np.asarray(angle, float).reshape(-1, 1)
    reach, shorter = 0.5 * part.width * np.abs(np.tan(turned)), np.cos(turned)
    rear = np.array([run.from_rear for run in found] + [False])[which]
    end = np.where(rear, length.reshape(-1, 1), 0.0)
    at_an_end = rear | (which == 0)
    sign = np.where(np.arange(edges.shape[1]) % 2 == 0, -1.0, 1.0)
    moved = np.where(at_an_end, end + (edges - end) / shorter, edges) + sign * reach
    closed = moved[:, 1:-1:2] >= moved[:, 2::2]
    for gap in np.flatnonzero(closed.any(axis=0)):
        moved[closed[:, gap], 2 * gap + 1 : 2 * gap + 3] = np.inf
    return np.asarray(moved)


def blocked_over_travel(part: Part, beam: Beam, angle: float = 0.0) -> tuple[Array, Array]:
    """Travels (k,) of one part's leading end past the beam's middle in m, and shares (k,) blocked there.

    ``angle`` (rad) of the beam off the square across the path.
    """
    length = np.asarray(first_of(part.length))
    found = runs(part.silhouette(float(length)), beam)
    if not found:
        return np.zeros(0), np.zeros(0)
    lines = []
    for number, run in enumerate(found):
        if beam.extent == 0.0:  # it switches at one point, of which a line needs two
            travel, share = run.travel[0] + np.array([-STEEP, STEEP]), run.share[:2]
        else:
            travel, share = np.append(run.travel[:-1:DRAWN], run.travel[-1]), run.share
            share = np.append(share[:-1:DRAWN], share[-1])
        end = float(length) if run.from_rear else 0.0
        if run.from_rear or number == 0:
            travel = end + (travel - end) / np.cos(angle)
        reach = 0.5 * part.width * abs(np.tan(angle))
        lines.append((travel - reach if run.rising else travel + reach, share))
    travel, share = (np.concatenate(column) for column in zip(*lines, strict=True))
    turned = replace(part, tilt=first_of(part.tilt))
    return tilted(np.maximum.accumulate(travel)[None, :], turned, beam, length)[0], share
