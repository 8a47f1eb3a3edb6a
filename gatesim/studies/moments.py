"""Mean and central moments of values that come in blocks."""

import math
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array


@dataclass(frozen=True)
class Moments:
    """Count, mean and sums of the second to fourth powers of the deviations.

    Merging is by the exact pairwise formulas of Pébay, Sandia report SAND2008-6212
    (2008); the bits depend on the order of merging, which is always block order.
    """

    count: int = 0
    mean: float = 0.0
    m2: float = 0.0
    m3: float = 0.0
    m4: float = 0.0

    @staticmethod
    def of(values: Array, *, tails: bool = True) -> "Moments":
        """Moments of the values of one block, shape (n,), without NaN.

        Without ``tails`` the third and fourth powers, which a standard deviation does not need, are NaN.
        """
        if values.size == 0:
            return Moments()
        pivot = float(values[0])  # makes equal values have exactly no spread
        d = values - pivot
        shift = float(np.mean(d))
        d -= shift
        d2 = d * d
        m3, m4 = (float(np.sum(d2 * d)), float(np.sum(d2 * d2))) if tails else (math.nan, math.nan)
        return Moments(values.size, pivot + shift, float(np.sum(d2)), m3, m4)

    def merge(self, other: "Moments") -> "Moments":
        """Moments of both samples together."""
        if not (self.count and other.count):
            return self if self.count else other
        na, nb = self.count, other.count
        n = na + nb
        d = other.mean - self.mean
        m3 = (
            self.m3
            + other.m3
            + d**3 * na * nb * (na - nb) / n**2
            + 3 * d * (na * other.m2 - nb * self.m2) / n
        )
        m4 = (
            self.m4
            + other.m4
            + d**4 * na * nb * (na * na - na * nb + nb * nb) / n**3
            + 6 * d**2 * (na * na * other.m2 + nb * nb * self.m2) / n**2
            + 4 * d * (na * other.m3 - nb * self.m3) / n
        )
        return Moments(n, self.mean + d * nb / n, self.m2 + other.m2 + d * d * na * nb / n, m3, m4)

    @property
    def std(self) -> float:
        """Experimental standard deviation; NaN for fewer than two values (JCGM 101, 7.6)."""
        return math.sqrt(self.m2 / (self.count - 1)) if self.count > 1 else math.nan

    @property
    def std_error_of_mean(self) -> float:
        """Standard deviation of the mean of independent values."""
        return self.std / math.sqrt(self.count) if self.count > 1 else math.nan

    @property
    def std_error_of_std(self) -> float:
        """Standard deviation of ``std``: (s/2) sqrt((kurtosis - 1)/n), by the delta method."""
        if self.count < 2:
            return math.nan
        if self.m2 == 0.0:
            return 0.0
        kurtosis = self.count * self.m4 / self.m2**2
        return 0.5 * self.std * math.sqrt(max(kurtosis - 1.0, 0.0) / self.count)
