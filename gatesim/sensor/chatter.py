"""Extra transitions after a switching edge."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Scalar, of_trials, take
from gatesim.ground.draw import Draw, Further
from gatesim.ground.quantity import accepts
from gatesim.ground.transition import trimmed

Whole = NDArray[np.int64]

Pulse = tuple[Whole, Array, Array]
"""Flat index of edges, and for each when its pulse goes and comes back; a first, a second, ... pulse."""

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
        lists = np.ascontiguousarray(times.T)  # a row for each edge, all trials at once
        drawn = draw.uniform(f"sensor.chatter_pulses@{gate}", len(lists))
        wanted = self._pulses(np.ascontiguousarray(drawn.T))
        wanted *= lists < np.inf
        last, had = lists.ravel().copy(), np.zeros(lists.size, np.int64)
        following = np.concatenate([last[len(times) :], np.full(len(times), np.inf)])
        pulses: list[Pulse] = []
        for rows, until, lasting in self._planned(wanted, draw.uniform(f"sensor.chatter_spacing@{gate}")):
            goes = last[rows] - until
            comes = goes - lasting
            fits = comes < following[rows]
            following[rows[~fits]] = -np.inf  # nor does any after it
            rows, goes, comes = rows[fits], goes[fits], comes[fits]
            last[rows], had[rows] = comes, len(pulses) + 1
            pulses.append((rows, goes, comes))
        return _placed(lists, had.reshape(lists.shape), pulses) if pulses else trimmed(lists.T)

    def _planned(self, wanted: Whole, seed: Array) -> Iterator[Pulse]:
        """First, second, ... pulses of edges after which so many are wanted, (e, n), by their random numbers.

        Flat index of each edge, and the time to the pulse and that of the pulse, both with a minus sign.
        """
        n = len(seed)
        rows = np.flatnonzero(wanted)
        some, each = wanted.ravel()[rows], []
        while rows.size:
            each.append(rows)
            more = np.flatnonzero(some > len(each))
            rows, some = rows[more], some[more]
        if not each:
            return
        flat, sizes = np.concatenate(each), [rows.size for rows in each]
        edge = flat // n
        trial = flat - n * edge
        first = _first_number(edge, np.repeat(np.arange(len(each)), sizes))
        draws = take(Further.of(seed), trial)
        mean = of_trials(self.mean_spacing, trial)
        until, lasting = (mean * np.log(draws.at(first + number)) for number in (0, 1))
        ends = np.cumsum(sizes).tolist()
        for rows, end in zip(each, ends, strict=True):
            here = slice(end - rows.size, end)
            yield rows, until[here], lasting[here]

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


def _first_number(edge: Whole, had: Whole) -> Whole:
    """Number of the first of the two random numbers of a pulse, of all that a trial may need."""
    beyond = FAR + edge * PER_EDGE + had
    return np.asarray(2 * np.where(had < BLOCK, edge * BLOCK + had, beyond), np.int64)


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
