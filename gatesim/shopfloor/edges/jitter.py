"""Jitter from passages that repeat each other.

Times from the first edge at gate 1 to each of the others scatter by s^2 (1 + [i = j]) for a jitter s of
every edge by itself, and by what else varies from passage to passage, which is given. The variance s^2
maximises the likelihood of the sample covariances (Wishart); its interval holds the values whose
likelihood ratio stays below the chi-square bound (S. S. Wilks, Ann. Math. Stat. 9 (1938) 60; from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.shopfloor.edges.chatter import LEVEL, Estimate

STRANGE = 0.01
"""p-value below which the scatter has not the shape that jitter gives it."""
LEAST = 4
"""Passages that repeat each other, and degrees of freedom, below which jitter is not estimated."""


@dataclass(frozen=True)
class Repeats:
    """Passages alike: ``times`` (n, r) s after the first edge, ``other`` (r, r) s^2 what else scatters."""

    times: Array
    other: Array

    @property
    def freedom(self) -> int:
        """Of its sample covariance."""
        return len(self.times) - 1

    @property
    def sample(self) -> Array:
        """Its sample covariance (r, r)."""
        return np.atleast_2d(np.cov(self.times, rowvar=False))


@dataclass(frozen=True)
class JitterSeen:
    """Standard deviation of an edge in s; ``passages`` it rests on.

    ``shape_p``: how probable so different scatters of the edges are if jitter alone, alike at all gates, is
    what they have beside what is stated; NaN where it cannot be judged.
    """

    jitter: Estimate
    passages: int
    shape_p: float

    @property
    def strange(self) -> bool:
        """Whether something else scatters."""
        return self.shape_p < STRANGE


def jitter_seen(groups: Sequence[Repeats]) -> JitterSeen | None:
    """Estimate from groups of repeated passages; None where there are too few."""
    from scipy.optimize import brentq, minimize_scalar  # deferred: costs start-up time
    from scipy.stats import chi2

    groups = [group for group in groups if group.freedom + 1 >= LEAST and group.times.shape[1]]
    if not groups:
        return None
    samples = [group.sample for group in groups]
    scale = math.sqrt(max(float(sample.diagonal().max()) for sample in samples)) or 1e-12

    def deviance(log_jitter: float) -> float:
        """Minus twice the log-likelihood."""
        total = 0.0
        for group, sample in zip(groups, samples, strict=True):
            cov = group.other + math.exp(2.0 * log_jitter) * _alike(len(sample))
            _, size = np.linalg.slogdet(cov)
            total += group.freedom * float(size + np.trace(np.linalg.solve(cov, sample)))
        return total

    low, high = math.log(1e-4 * scale), math.log(10.0 * scale)
    best = minimize_scalar(deviance, bounds=(low, high), method="bounded", options={"xatol": 1e-6})
    bound = float(chi2.isf(1.0 - LEVEL, 1))

    def above(log_jitter: float) -> float:
        return deviance(log_jitter) - float(best.fun) - bound

    least = math.exp(brentq(above, low, best.x)) if above(low) > 0.0 else 0.0
    most = math.exp(brentq(above, best.x, high)) if above(high) > 0.0 else math.inf
    value = math.exp(best.x) if least > 0.0 else math.exp(best.x) * (best.x > low + 1e-3)
    count = sum(len(group.times) for group in groups)
    return JitterSeen(Estimate(value, least, most), count, _shape_p(groups, samples, best.fun))


def _alike(size: int) -> Array:
    return np.eye(size) + 1.0


def _shape_p(groups: Sequence[Repeats], samples: Sequence[Array], deviance: float) -> float:
    """Likelihood ratio against any covariance, with the correction for few passages of a sphericity test."""
    from scipy.stats import chi2

    ratio, freedom, least, size = deviance, 0, math.inf, 0
    for group, sample in zip(groups, samples, strict=True):
        r = len(sample)
        sign, log = np.linalg.slogdet(sample)
        if group.freedom <= r or sign <= 0:
            return math.nan
        ratio -= group.freedom * (float(log) + r)
        freedom += r * (r + 1) // 2
        least, size = min(least, group.freedom), max(size, r)
    freedom -= 1
    if freedom < 1:
        return math.nan
    # Bartlett's factor as Muirhead, Aspects of Multivariate Statistical Theory (1982), gives it; from memory
    factor = 1.0 - (2.0 * size * size + size + 2.0) / (6.0 * size * least)
    return float(chi2.sf(max(ratio, 0.0) * factor, freedom))
