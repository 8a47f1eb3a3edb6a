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
CELL = np.dtype("V24")  # count, smallest and largest value as one piece
WAITING = 1 << 17  # values that are taken in together: one pass through the cells costs as much for few


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
        below = self.ranks[: np.searchsorted(self.ranks, last, side="right")]
        above = self.ranks[np.searchsorted(self.ranks, span) :] - span
        starts = np.concatenate([below, above, [1.0, last]])
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
    # count, smallest and largest value of each cell, side by side since they are asked for together
    _kept: Array = field(init=False, default_factory=lambda: np.zeros((0, 3)))
    _waiting: list[Array] = field(init=False, default_factory=list)
    _first: Array = field(init=False, default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        if self.knots.size:
            self.lay_out(self.knots)

    @property
    def count(self) -> Array:
        """Number of values in each cell, (k,)."""
        return self._all_in()[:, 0]

    @property
    def low(self) -> Array:
        """Smallest value of each cell that has one, (k,)."""
        return self._all_in()[:, 1]

    @property
    def high(self) -> Array:
        """Largest value of each cell that has one, (k,)."""
        return self._all_in()[:, 2]

    def lay_out(self, knots: Array) -> None:
        """Empty cells about ascending distinct values, shape (k,)."""
        gaps = np.diff(knots)
        extent = float(knots[-1] - knots[0])
        per_gap = PER_GAP + np.ceil(PER_RANGE * gaps / extent if extent else gaps)
        self.knots, self._first = knots, np.concatenate([[0.0], np.cumsum(per_gap)])
        size = 2 * TAIL + int(self._first[-1]) + 1
        self._kept = np.zeros((size, 3))  # zeros cost nothing before they are touched

    def _cells(self, ordered: Array) -> NDArray[np.int64]:
        """Cell of each value; ascending as they are."""
        first, last = float(self.knots[0]), float(self.knots[-1])
        scale = (last - first) / PER_RANGE * PER_UNIT or abs(first) * 1e-9 or 1e-12
        place = TAIL + np.interp(ordered, self.knots, self._first)
        below, above = np.searchsorted(ordered, first), np.searchsorted(ordered, last, side="right")
        for rows, end in ((slice(below), first), (slice(above, None), last)):  # few lie beyond the knots
            tail = np.arcsinh((ordered[rows] - end) / scale) * PER_UNIT
            place[rows] += np.clip(tail, -TAIL, TAIL)
        cell = place.astype(np.int64)
        return np.asarray(np.maximum.accumulate(cell))  # arcsinh may be non-monotone in its last bit

    def add(self, ordered: Array) -> None:
        """Take in a block of ascending values, shape (n,), without NaN."""
        if ordered.size == 0:
            return
        if not self.knots.size:
            self.lay_out(np.unique(ordered))
        self._waiting.append(ordered)
        if sum(map(len, self._waiting)) >= WAITING:
            self._all_in()

    def _all_in(self) -> Array:
        """The cells, with all values taken in."""
        if not self._waiting:
            return self._kept
        ordered = self._waiting[0] if len(self._waiting) == 1 else np.sort(np.concatenate(self._waiting))
        self._waiting.clear()
        cell = self._cells(ordered)
        begins = np.ones(cell.size, bool)
        np.not_equal(cell[1:], cell[:-1], out=begins[1:])
        first = np.flatnonzero(begins)
        last = np.append(first[1:], ordered.size) - 1
        at = cell[first]
        kept = self._kept.take(at, axis=0)
        held = kept[:, 0] > 0.0
        kept[:, 0] += last - first + 1
        kept[:, 1] = np.minimum(np.where(held, kept[:, 1], np.inf), ordered[first])
        kept[:, 2] = np.maximum(np.where(held, kept[:, 2], -np.inf), ordered[last])
        self._kept.view(CELL)[:, 0][at] = kept.view(CELL)[:, 0]  # number by number it takes twice as long
        return self._kept

    def curve(self) -> RankCurve:
        """The empirical distribution so far."""
        used = np.flatnonzero(self.count)
        count, low, high = self._kept[used].T
        upto = np.cumsum(count)
        ranks = np.column_stack([upto - count + 1.0, upto]).ravel()
        return RankCurve(ranks, np.column_stack([low, high]).ravel())

    def resolution(self, value: float) -> float:
        """Extent of the values in the cell that holds ``value``: a quantile there is no further off."""
        used = np.flatnonzero(self.count)
        if not used.size:
            return float("nan")
        here = used[max(int(np.searchsorted(self.low[used], value, side="right")) - 1, 0)]
        return float(self.high[here] - self.low[here])
