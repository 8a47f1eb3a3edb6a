"""Extra transitions after a switching edge."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Scalar, column
from gatesim.ground.draw import Draw, further
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
        following = np.concatenate([times[:, 1:], np.full((n, 1), np.inf)], axis=1).ravel()
        wanted = self._pulses(draw.uniform(f"sensor.chatter_pulses@{gate}", edges))
        wanted = np.where(np.isfinite(times), wanted, 0).ravel()
        seed = draw.uniform(f"sensor.chatter_spacing@{gate}")
        spacing = np.broadcast_to(np.asarray(self.mean_spacing, float), (n,))
        last = times.ravel().copy()
        had = np.zeros(n * edges, np.int64)
        pulses: list[Pulse] = []
        rows = np.flatnonzero(wanted)
        while rows.size:
            trial, number = rows // edges, _first_number(rows % edges, had[rows])
            goes = last[rows] - spacing[trial] * np.log(further(seed[trial], number))
            comes = goes - spacing[trial] * np.log(further(seed[trial], number + 1))
            fits = comes < following[rows]
            rows, goes, comes = rows[fits], goes[fits], comes[fits]
            pulses.append((rows, had[rows], goes, comes))
            last[rows] = comes
            had[rows] += 1
            rows = rows[had[rows] < wanted[rows]]
        return _placed(times, had.reshape(n, edges), pulses) if pulses else trimmed(times)

    def _pulses(self, u: Array) -> Whole:
        """Poisson numbers by the inverse distribution function."""
        mean = column(self.mean_pulses)
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


def _first_number(edge: Whole, had: Whole) -> Whole:
    """Number of the first of the two random numbers of a pulse, of all that a trial may need."""
    inside = edge * BLOCK + had
    beyond = FAR + edge * PER_EDGE + had
    return np.asarray(2 * np.where(had < BLOCK, inside, beyond), np.int64)


Pulse = tuple[Whole, Whole, Array, Array]
"""Flat index of the edge, pulses it had before, and when the new ones go and come back."""


def _placed(times: Array, had: Whole, pulses: list[Pulse]) -> Array:
    """The edges with so many pulses after each: everything in its column, nothing to sort."""
    n, edges = times.shape
    before = np.cumsum(had, axis=1) - had
    width = edges + 2 * int(had.sum(axis=1).max())
    out = np.full(n * width, np.inf)
    place = (width * np.arange(n)[:, None] + np.arange(edges) + 2 * before).ravel()
    out[place] = times.ravel()
    for rows, number, goes, comes in pulses:
        at = place[rows] + 1 + 2 * number
        out[at], out[at + 1] = goes, comes
    return trimmed(out.reshape(n, width))
