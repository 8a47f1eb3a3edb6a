"""Quantiles of any number of values in a fixed amount of memory.

Values are sorted into cells that the first block lays out: between two neighbouring values of
it stand as many cells as make none wider than 1/16 of that gap or 1/65536 of the block's whole
range, so that cells are narrow wherever values are dense, in one heap or in several. Beyond the
block's range they widen evenly in asinh(distance), so that any tail fits. Each cell keeps its count and
its smallest and largest value. Ranks are interpolated between these, so a quantile is off by less
than the extent of its cell (reported as ``resolution``), and by nothing at all
where a cell holds one distinct value: few trials, or readings on a lattice of counts.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array

PER_GAP = 16
PER_RANGE = 65_536
PER_UNIT = 1024
REACH = 30  # asinh units either side: 5e12 ranges of the first block; further out shares the last cell
TAIL = REACH * PER_UNIT


@dataclass(frozen=True)
class RankCurve:
    """Empirical distribution: ``values`` (k,) ascending at ``ranks`` (k,) from 1 to ``count``."""

    ranks: Array
    values: Array

    @property
    def count(self) -> int:
        """Number of values summarised."""
        return int(self.ranks[-1]) if self.ranks.size else 0

    def at(self, rank: float | Array) -> Array:
        """Value of a rank (1 = smallest), interpolated; shape of ``rank``; NaN if empty."""
        if not self.ranks.size:
            return np.full(np.shape(rank), np.nan)
        return np.asarray(np.interp(rank, self.ranks, self.values))

    def symmetric_ranks(self, coverage: float) -> tuple[float, float]:
        """Ranks of the probabilistically symmetric interval (JCGM 101, 7.7.2)."""
        low = max(1.0, self.count * (1.0 - coverage) / 2.0)
        return low, min(low + coverage * self.count, float(self.count))

    def symmetric(self, coverage: float) -> tuple[float, float]:
        """Probabilistically symmetric coverage interval."""
        low, high = self.symmetric_ranks(coverage)
        return float(self.at(low)), float(self.at(high))

    def shortest(self, coverage: float) -> tuple[float, float]:
        """Shortest coverage interval (JCGM 101, 7.7.4); of equal ones the most symmetric."""
        span = coverage * self.count
        last = self.count - span
        if last < 1.0:
            return self.symmetric(coverage)
        # the length is piecewise linear in the rank: a minimum lies at a node of either end
        starts = np.concatenate([self.ranks, self.ranks - span, [1.0, last]])
        starts = starts[(starts >= 1.0) & (starts <= last)]
        lengths = self.at(starts + span) - self.at(starts)
        tied = starts[lengths <= lengths.min() * (1.0 + 1e-9)]
        start = tied[np.argmin(np.abs(tied - (1.0 + last) / 2.0))]
        return float(self.at(start)), float(self.at(start + span))

    def counts(self, edges: Array) -> Array:
        """Number of values in each of the bins between ``edges`` (k+1,): (k,), for a histogram."""
        below = np.interp(edges, self.values, self.ranks, left=0.0, right=float(self.count))
        return np.diff(below)


def curve_of(ordered: Array) -> RankCurve:
    """Exact curve of ascending values, shape (n,)."""
    return RankCurve(np.arange(1.0, ordered.size + 1.0), ordered)


@dataclass
class RankSummary:
    """Running summary of values that come in blocks; memory 8 MB whatever their number.

    ``knots``: the distinct values of the first block that has any, which lay out the cells; so
    the result depends on the order of the blocks, and on nothing else.
    """

    knots: Array = field(default_factory=lambda: np.zeros(0))
    count: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    low: Array = field(default_factory=lambda: np.zeros(0))
    high: Array = field(default_factory=lambda: np.zeros(0))
    _first: Array = field(init=False, default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        if self.knots.size:
            self.lay_out(self.knots)

    def lay_out(self, knots: Array) -> None:
        """Empty cells about ascending distinct values, shape (k,)."""
        gaps = np.diff(knots)
        extent = float(knots[-1] - knots[0])
        per_gap = PER_GAP + np.ceil(PER_RANGE * gaps / extent if extent else gaps)
        self.knots, self._first = knots, np.concatenate([[0.0], np.cumsum(per_gap)])
        size = 2 * TAIL + int(self._first[-1]) + 1
        self.count = np.zeros(size, np.int64)
        self.low, self.high = np.full(size, np.inf), np.full(size, -np.inf)

    def _cells(self, ordered: Array) -> NDArray[np.int64]:
        """Cell of each value; ascending as they are."""
        first, last = float(self.knots[0]), float(self.knots[-1])
        scale = (last - first) / PER_RANGE * PER_UNIT or abs(first) * 1e-9 or 1e-12
        place = TAIL + np.interp(ordered, self.knots, self._first)
        below, above = np.searchsorted(ordered, first), np.searchsorted(ordered, last, side="right")
        for rows, end in ((slice(below), first), (slice(above, None), last)):  # few lie beyond the knots
            tail = np.arcsinh((ordered[rows] - end) / scale) * PER_UNIT
            place[rows] += np.clip(tail, -TAIL, TAIL)
        cell = np.floor(place).astype(np.int64)
        return np.asarray(np.maximum.accumulate(cell))  # arcsinh may be non-monotone in its last bit

    def add(self, ordered: Array) -> None:
        """Take in a block of ascending values, shape (n,), without NaN."""
        if ordered.size == 0:
            return
        if not self.knots.size:
            self.lay_out(np.unique(ordered))
        cell = self._cells(ordered)
        first = np.flatnonzero(np.diff(cell, prepend=-1))
        last = np.append(first[1:], ordered.size) - 1
        at = cell[first]
        self.count[at] += last - first + 1
        self.low[at] = np.minimum(self.low[at], ordered[first])
        self.high[at] = np.maximum(self.high[at], ordered[last])

    def curve(self) -> RankCurve:
        """The empirical distribution so far."""
        used = np.flatnonzero(self.count)
        upto = np.cumsum(self.count[used])
        ranks = np.column_stack([upto - self.count[used] + 1, upto]).ravel().astype(np.float64)
        values = np.column_stack([self.low[used], self.high[used]]).ravel()
        return RankCurve(ranks, values)

    def resolution(self, value: float) -> float:
        """Extent of the values in the cell that holds ``value``: a quantile there is no further off."""
        used = np.flatnonzero(self.count)
        if not used.size:
            return float("nan")
        here = used[max(int(np.searchsorted(self.low[used], value, side="right")) - 1, 0)]
        return float(self.high[here] - self.low[here])
