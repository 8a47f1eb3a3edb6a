"""Extra transitions after a switching edge."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Scalar, take
from gatesim.ground.draw import Draw, Further
from gatesim.ground.quantity import accepts
from gatesim.ground.transition import trimmed

Whole = NDArray[np.int64]

BLOCK = 12
"""Pulses of an edge that have their random numbers side by side; those of further ones stand behind."""
FAR, PER_EDGE = 1 << 40, 1 << 20
"""Where these begin, and how many an edge may have."""


@dataclass(frozen=True)
@accepts(mean_pulses="", mean_spacing="s")
class Chatter:
    """A Poisson number of extra pulses after each edge, mean ``mean_pulses``.

    The times between their transitions are exponential, mean ``mean_spacing`` (s). Pulses
    that would run into the next edge are left out. Common practice, no source.
    """

    mean_pulses: Scalar
    mean_spacing: Scalar

    def added(self, times: Array, draw: Draw, gate: int) -> Array:
        """Transition lists (n, k) with the chatter put in, (n, m)."""
        n, edges = times.shape
        lists = np.ascontiguousarray(times.T)  # a row for each edge, all trials at once
        drawn = draw.uniform(f"sensor.chatter_pulses@{gate}", edges)
        wanted = self._pulses(np.ascontiguousarray(drawn.T))
        wanted[np.isinf(lists)] = 0
        draws = Further.of(draw.uniform(f"sensor.chatter_spacing@{gate}"))
        due = self._due(lists, wanted, draws)
        had = np.zeros((edges, n), np.int64)
        pulses: list[Pulse] = []
        while due.flat.size:
            goes, comes = due.pulse(len(pulses))
            fits = comes < due.following
            pulses.append((due.flat[fits], goes[fits], comes[fits]))
            had.ravel()[pulses[-1][0]] = len(pulses)
            due = due.going_on(comes, np.flatnonzero(fits & (due.wanted > len(pulses))))
        return _placed(lists, had, pulses) if pulses else trimmed(lists.T)

    def _due(self, lists: Array, wanted: Whole, draws: Further) -> "_Due":
        """Edges of lists (e, n) after which so many pulses are wanted."""
        edges, n = lists.shape
        rows = [np.flatnonzero(row) for row in wanted]
        edge, trial = np.repeat(np.arange(edges), [row.size for row in rows]), np.concatenate(rows)
        flat = n * edge + trial
        following = np.concatenate([lists.ravel()[n:], np.full(n, np.inf)])
        mean = np.broadcast_to(np.asarray(self.mean_spacing, float), (n,))
        return _Due(
            flat, edge, take(draws, trial).from_number(2 * BLOCK * edge), mean[trial], lists.ravel()[flat],
            following[flat], wanted.ravel()[flat],
        )  # fmt: skip

    def _pulses(self, u: Array) -> Whole:
        """Poisson numbers (e, n) by the inverse distribution function."""
        mean = np.asarray(self.mean_pulses, float)
        term = below = np.exp(-mean)
        pulses = np.zeros(u.shape, np.int64)
        largest = float(np.max(mean, initial=0.0))
        # beyond, the probability is below the last bit of 1, and the sum need not come to it
        for number in range(1, int(largest + 12.0 * largest**0.5) + 40):
            more = u > below
            if not more.any():
                break
            pulses += more
            term = term * mean / number
            below = below + term
        return pulses


@dataclass(frozen=True)
class _Due:
    """Edges (m,) that another pulse is due after.

    ``flat``: index in lists (e, n), of ``edge``. ``draws``: of the trial, from the edge's on; ``mean``
    spacing. ``last``: when the output switched last, ``following``: when it is to switch next.
    """

    flat: Whole
    edge: Whole
    draws: Further
    mean: Array
    last: Array
    following: Array
    wanted: Whole

    def pulse(self, number: int) -> tuple[Array, Array]:
        """When the pulse of that number after each edge goes and comes back."""
        draws, at = self.draws, 2 * number
        if number >= BLOCK:
            draws = draws.from_number(2 * (FAR + self.edge * (PER_EDGE - BLOCK)))
        goes = self.last - self.mean * np.log(draws.at(at))
        return goes, goes - self.mean * np.log(draws.at(at + 1))

    def going_on(self, last: Array, rows: Whole) -> "_Due":
        """Some of the edges, after pulses that came back at ``last`` (m,)."""
        return _Due(
            self.flat[rows], self.edge[rows], take(self.draws, rows), self.mean[rows], last[rows],
            self.following[rows], self.wanted[rows],
        )  # fmt: skip


Pulse = tuple[Whole, Array, Array]
"""Flat index of each edge, and when its pulse goes and comes back; in the order of pulses."""


def _placed(lists: Array, had: Whole, pulses: list[Pulse]) -> Array:
    """The edges (e, n) with so many pulses after each: everything in its place, nothing to sort."""
    edges, n = lists.shape
    # where each edge comes to stand: column by column, behind the edges and pulses before it
    place = np.zeros((edges, n), np.int64)
    np.cumsum(2 * had[:-1] + 1, axis=0, out=place[1:])
    width = 1 + int((place[-1] + 2 * had[-1]).max())
    place *= n
    place += np.arange(n)
    out = np.full(width * n, np.inf)
    out[place.ravel()] = lists.ravel()
    for number, (flat, goes, comes) in enumerate(pulses):
        at = place.ravel()[flat] + n * (1 + 2 * number)
        out[at], out[at + n] = goes, comes
    return trimmed(out.reshape(width, n).T)
