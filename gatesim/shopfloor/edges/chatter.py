"""How a sensor chatters, from the extra edges of a record.

The model is that of `gatesim.sensor.chatter`: a Poisson number of pulses after each edge, exponential
times from edge to edge. Both intervals are exact: for a Poisson mean by the chi-square distribution
(F. Garwood, Biometrika 28 (1936) 437; from memory), for an exponential mean likewise, since twice the
sum of n times over their mean is chi-square with 2 n degrees of freedom.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gatesim.shopfloor.edges.bursts import Bursts

LEVEL = 0.95
BUNCHED = 0.01
"""p-value of the dispersion test below which the numbers of pulses are not Poisson."""


@dataclass(frozen=True)
class Estimate:
    """A value with its confidence interval of `LEVEL`, SI."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class ChatterSeen:
    """``edges`` of parts with ``pulses`` extra ones in all; means a pulse and in s, None without any.

    ``dispersion``: variance of the pulses an edge over their mean, 1 for a Poisson distribution;
    ``dispersion_p``: how probable one so far off is with it. NaN without pulses.
    ``longest``: the longest burst in s.
    """

    edges: int
    pulses: int
    mean_pulses: Estimate
    mean_spacing: Estimate | None
    dispersion: float
    dispersion_p: float
    longest: float

    @property
    def uneven(self) -> bool:
        """Whether the pulses come more in bunches, or more evenly, than the model has them."""
        return self.dispersion_p < BUNCHED


def chatter_seen(found: Sequence[Bursts], longest: float) -> ChatterSeen:
    """Estimate from all bursts of a record; ``longest`` of them in s."""
    from scipy.stats import chi2  # deferred: costs start-up time

    pulses = np.concatenate([burst.pulses for burst in found])
    waits = np.concatenate([burst.waits for burst in found])
    tail, total, edges = 0.5 * (1.0 - LEVEL), float(pulses.sum()), pulses.size
    low = chi2.ppf(tail, 2.0 * total) / 2.0 if total else 0.0
    high = chi2.isf(tail, 2.0 * (total + 1.0)) / 2.0
    mean = Estimate(total / edges, low / edges, high / edges)
    spacing, ratio, p = None, float("nan"), float("nan")
    if waits.size:
        twice = 2.0 * float(waits.sum())
        ends = (twice / float(chi2.isf(tail, 2 * waits.size)), twice / float(chi2.ppf(tail, 2 * waits.size)))
        spacing = Estimate(float(waits.mean()), *ends)
        # Fisher's index of dispersion
        index = float(((pulses - pulses.mean()) ** 2).sum() / pulses.mean())
        ratio = index / (edges - 1)
        p = 2.0 * min(float(chi2.sf(index, edges - 1)), float(chi2.cdf(index, edges - 1)))
    return ChatterSeen(edges, int(total), mean, spacing, ratio, p, longest)
