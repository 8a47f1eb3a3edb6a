"""Confidence intervals on sums and differences of mean squares, by modified large samples.

Sums: Graybill and Wang (1980), J. Am. Stat. Assoc. 75, 869. Differences: Ting, Burdick,
Graybill, Jeyaratnam and Lu (1990), J. Stat. Comput. Simul. 35, 135; both as given by
Burdick and Graybill, Confidence Intervals on Variance Components (1992).
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from gatesim.ground.arrays import Array


@dataclass(frozen=True)
class MeanSquare:
    """A mean square of an analysis of variance: value (float or array) and degrees of freedom."""

    value: float | Array
    freedom: float


def modified_large_sample(
    terms: list[tuple[float, MeanSquare]], level: float = 0.95
) -> tuple[float | Array, float | Array]:
    """Two-sided limits of sum(k * expected mean square) over ``terms`` of (k, mean square).

    A variance cannot be negative, so the limits are cut at zero.
    """
    up = [(k, m) for k, m in terms if k > 0]
    down = [(-k, m) for k, m in terms if k < 0]
    tail = (1.0 - level) / 2.0
    centre = sum(k * m.value for k, m in terms)
    lower = centre - np.sqrt(np.maximum(_below(up, down, tail), 0.0))
    upper = centre + np.sqrt(np.maximum(_above(up, down, tail), 0.0))
    return np.maximum(lower, 0.0), np.maximum(upper, 0.0)


def _f(tail: float, n: float, m: float) -> float:
    """Point that F(n, m) exceeds with probability ``tail``; m may be infinite."""
    from scipy import stats

    if np.isinf(m):
        return float(stats.chi2.isf(tail, n) / n)
    return float(stats.f.isf(tail, n, m))


def _g(tail: float, n: float) -> float:
    return 1.0 - 1.0 / _f(tail, n, np.inf)


def _h(tail: float, n: float) -> float:
    return 1.0 / _f(1.0 - tail, n, np.inf) - 1.0


_Terms = list[tuple[float, MeanSquare]]


def _below(up: _Terms, down: _Terms, tail: float) -> float | Array:
    """V_L: squared distance from the estimate down to the lower limit."""
    v: float | Array = sum((_g(tail, m.freedom) * k * m.value) ** 2 for k, m in up)
    v = v + sum((_h(tail, m.freedom) * k * m.value) ** 2 for k, m in down)
    for k, m in up:
        for j, d in down:
            f = _f(tail, m.freedom, d.freedom)
            cross = ((f - 1.0) ** 2 - (_g(tail, m.freedom) * f) ** 2 - _h(tail, d.freedom) ** 2) / f
            v = v + cross * k * j * m.value * d.value
    return v + _star(up, tail) if down else v


def _above(up: _Terms, down: _Terms, tail: float) -> float | Array:
    """V_U: squared distance from the estimate up to the upper limit."""
    v: float | Array = sum((_h(tail, m.freedom) * k * m.value) ** 2 for k, m in up)
    v = v + sum((_g(tail, m.freedom) * k * m.value) ** 2 for k, m in down)
    for k, m in up:
        for j, d in down:
            f = _f(1.0 - tail, m.freedom, d.freedom)
            cross = ((1.0 - f) ** 2 - (_h(tail, m.freedom) * f) ** 2 - _g(tail, d.freedom) ** 2) / f
            v = v + cross * k * j * m.value * d.value
    return v + _star(down, tail)


def _star(terms: _Terms, tail: float) -> float | Array:
    """The term of pairs of one sign, G*: zero for a single mean square."""
    v: float | Array = 0.0
    for (k, a), (j, b) in combinations(terms, 2):
        n, m = a.freedom, b.freedom
        joint = (_g(tail, n + m) * (n + m)) ** 2 / (n * m)
        alone = _g(tail, n) ** 2 * n / m + _g(tail, m) ** 2 * m / n
        v = v + (joint - alone) * k * j * a.value * b.value / (len(terms) - 1)
    return v
