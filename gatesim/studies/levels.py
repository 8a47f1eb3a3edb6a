"""Sums of one block from which the variances by level and all Monte Carlo errors follow.

Nested analysis of variance with unequal numbers, since trials without a reading are left out:
S. R. Searle, G. Casella, C. E. McCulloch, Variance Components (1992), chapter 3 (from memory;
tests/test_study_levels.py holds it to sums of squares worked out one by one).
"""

import math
from dataclasses import dataclass, field

import numpy as np

from gatesim.ground.arrays import Array, Flags
from gatesim.ground.nested import Layout

SUMS = 18
TRIANGLE = np.triu_indices(3)
SIZES, SQUARES, PAIRS, MEAN, RANKS = slice(0, 6), slice(6, 9), slice(9, 15), 15, slice(16, 18)


@dataclass(frozen=True)
class NestedSums:
    """Additive sums over the rigs of a block.

    ``values`` (18,): readings N, parts and rigs that have one; with n readings of a part and m of
    a rig, the sums of n^2/m, n^2 and m^2; sums of squares within parts, between the parts of a
    rig, between rigs; of the three a rig, the sums of all products of two; squares of what each
    rig contributes to the mean, and to the two ranks of the coverage interval's ends. Trials of
    one rig depend on one another, so that the error of every figure comes from the scatter of
    these contributions (linearisation, as for a survey of clusters).
    """

    values: Array = field(default_factory=lambda: np.zeros(SUMS))

    @staticmethod
    def of(errors: Array, layout: Layout, ends: tuple[float, float] = (math.nan, math.nan)) -> "NestedSums":
        """Sums for errors (n,) of one block in the order of the layout, NaN without a reading."""
        e = by_rig(errors, layout)
        missing = np.isnan(e)
        whole = not missing.any()  # then the same arithmetic with less to look at
        if missing.all():  # nothing at all, too
            return NestedSums()
        pivot = float(e.ravel()[0 if whole else np.argmin(missing)])  # equal errors have exactly no spread
        e = e - pivot
        rigs = e.shape[2]
        if whole:
            in_part = np.full((layout.parts, 1), float(layout.passages))
            in_rig = np.full(rigs, float(layout.each))
            sizes = _whole_sizes(layout, rigs)
        else:
            e[missing] = 0.0
            in_part = layout.passages - missing.sum(axis=1, dtype=float)
            in_rig = in_part.sum(axis=0)
            sizes = _sizes(in_part, in_rig)
        part_mean = e.sum(axis=1) / np.maximum(in_part, 1)
        rig_mean = (in_part * part_mean).sum(axis=0) / np.maximum(in_rig, 1)
        total = int(sizes[0])
        off = rig_mean - float(in_rig @ rig_mean) / total
        within = e - part_mean[:, None]
        if not whole:
            within[missing] = 0.0
        within *= within
        moved = in_rig * off
        squares = np.empty((3, rigs))
        within.sum(axis=(0, 1), out=squares[0])
        (in_part * (part_mean - rig_mean) ** 2).sum(axis=0, out=squares[1])
        np.multiply(in_rig, off**2, out=squares[2])
        pairs = (squares @ squares.T)[TRIANGLE]
        ranks = [0.0, 0.0]
        for number, end in enumerate(ends):
            if not math.isnan(end):
                below = e <= end - pivot
                ranks[number] = _rank_scatter(below if whole else below & ~missing, in_rig, total)
        return NestedSums(np.array([*sizes, *squares.sum(axis=1), *pairs, moved @ moved, *ranks], float))

    def __add__(self, other: "NestedSums") -> "NestedSums":
        return NestedSums(self.values + other.values)

    @property
    def mean_error(self) -> float:
        """Standard error of the mean; NaN for fewer than two rigs."""
        n, rigs = self.values[0], self.values[2]
        return math.sqrt(self.values[MEAN] * rigs / (rigs - 1.0)) / n if rigs > 1 else math.nan

    @property
    def rank_steps(self) -> tuple[float, float]:
        """Standard deviations of the number of errors below the ends of the coverage interval."""
        low, high = np.sqrt(self.values[RANKS])
        return float(low), float(high)

    def variance_error(self, weights: Array) -> float:
        """Standard error of a combination of the three sums of squares, ``weights`` (3,)."""
        rigs = self.values[2]
        if rigs < 2:
            return math.nan
        products = np.zeros((3, 3))
        products[TRIANGLE] = self.values[PAIRS]
        products += np.triu(products, 1).T
        sums = self.values[SQUARES]
        scatter = products - np.outer(sums, sums) / rigs
        return math.sqrt(max(float(weights @ scatter @ weights) * rigs / (rigs - 1.0), 0.0))


def _sizes(in_part: Array, in_rig: Array) -> list[float]:
    """`SIZES` for readings of a part (parts, rigs) and of a rig (rigs,)."""
    square_sizes = (in_part**2).sum(axis=0)
    numbers = [in_rig.sum(), np.count_nonzero(in_part), np.count_nonzero(in_rig)]
    return [*numbers, (square_sizes / np.maximum(in_rig, 1)).sum(), square_sizes.sum(), in_rig @ in_rig]


def _whole_sizes(layout: Layout, rigs: int) -> list[float]:
    """The same where every passage is read."""
    n, each, passages = rigs * layout.each, layout.each, layout.passages
    return [n, rigs * layout.parts, rigs, rigs * passages, n * passages, n * each]


def by_rig(values: Array, layout: Layout) -> Array:
    """Values (n,) as (parts, passages, rigs); NaN where the last rig is cut short."""
    missing = layout.rigs(values.size) * layout.each - values.size
    whole = np.pad(values, (0, missing), constant_values=np.nan) if missing else values
    # rigs along the last axis: sums over a short last axis would be slow
    turned = np.ascontiguousarray(whole.reshape(-1, layout.each).T)
    return turned.reshape(layout.parts, layout.passages, -1)


def _rank_scatter(below: Flags, in_rig: Array, total: int) -> float:
    count = below.sum(axis=(0, 1), dtype=np.int16)  # no rig has more passages
    scatter = count - in_rig * (count.sum() / total)
    return float(scatter @ scatter)


@dataclass(frozen=True)
class Components:
    """Variances of an error by level, m^2, each with its Monte Carlo standard error.

    ``passage``: same part, same rig; ``part``: from part to part on one rig; ``rig``: from rig to
    rig. An estimate may be below zero by chance. NaN where too little is read to tell.
    """

    passage: tuple[float, float]
    part: tuple[float, float]
    rig: tuple[float, float]


def components(sums: NestedSums, between: float, layout: Layout) -> Components:
    """Variance components from the sums of all blocks (ANOVA estimators).

    ``between``: sum of squares between rigs about the mean of all blocks. Levels that the layout
    does not repeat are zero.
    """
    values = variances(sums, between, layout)
    errors = [sums.variance_error(weight) for weight in _weights(sums, layout)]
    return Components(*((float(v), e) for v, e in zip(values, errors, strict=True)))


def variances(sums: NestedSums, between: float, layout: Layout) -> Array:
    """The same without their errors, (3,): of passages, of parts, of rigs."""
    within, of_parts, _ = (float(v) for v in sums.values[SQUARES])
    found = np.array([within, of_parts, between])
    return np.array([float(weight @ found) for weight in _weights(sums, layout)])


def _weights(sums: NestedSums, layout: Layout) -> tuple[Array, Array, Array]:
    """With which the three sums of squares make each variance, (3,) each."""
    n, parts, rigs, weighted, part_sizes, rig_sizes = (float(v) for v in sums.values[SIZES])
    if layout.each == 1 or n <= parts:
        unknown = np.full(3, math.nan)
        return unknown, unknown, unknown
    passage = np.array([1.0 / (n - parts), 0.0, 0.0])
    part = np.zeros(3)
    if layout.parts > 1 and n > weighted:
        part = (np.array([0.0, 1.0, 0.0]) - (parts - rigs) * passage) / (n - weighted)
    rig = np.full(3, math.nan)
    if rigs > 1:
        rig = np.array([0.0, 0.0, 1.0]) - (rigs - 1.0) * passage - (weighted - part_sizes / n) * part
        rig /= n - rig_sizes / n
    return passage, part, rig


def as_std(variance: float, error: float) -> tuple[float, float]:
    """Standard deviation and its standard error from those of a variance; zero for one below zero."""
    std = math.sqrt(max(variance, 0.0)) if not math.isnan(variance) else math.nan
    if error == 0.0:
        return std, 0.0
    # near zero the square root is no straight line: the error is that of the root itself
    return std, error / max(2.0 * std, math.sqrt(error))
