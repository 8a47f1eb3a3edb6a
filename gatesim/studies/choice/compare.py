"""Trade-off of cost and uncertainty, and how sure 'better than' is."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.studies.choice.figures import rig_means


@dataclass(frozen=True)
class Comparison:
    """Winner against one rival over common random numbers.

    ``difference``: mean square error of the rival less that of the winner, each at its own
    worst part length, m^2, with its standard error ``error`` from the paired trials.
    ``confidence`` that the sign of the difference is the true one: one-sided, and corrected for
    the number of rivals (Bonferroni), so that all statements of a list hold together with it;
    0 where that leaves nothing. NaN where either is not read or the difference is nil.
    """

    difference: float
    error: float
    confidence: float


def pareto(costs: Array, uncertainties: Array) -> NDArray[np.bool_]:
    """Which candidates (n,) no other beats: none is cheaper without being less certain. Not finite: no."""
    front = np.zeros(costs.size, bool)
    best = math.inf
    for index in np.lexsort((uncertainties, costs)):
        if uncertainties[index] < best:
            best = float(uncertainties[index])
            front[index] = True
    return front


def compare(winner: Array, rival: Array, worst: tuple[int, int], rivals: int, each: int = 1) -> Comparison:
    """Paired comparison of errors (k, m) at each one's worst length, trial by trial.

    The mean of the differences is taken as normal (m trials in the thousands). A rival whose
    worst length is another one by chance only is made to look better by that, not worse.
    ``each``: trials in a row that are of one rig; rigs are compared then.
    """
    paired = rig_means(rival[worst[1]] ** 2 - winner[worst[0]] ** 2, each)
    if paired.size < 2:
        return Comparison(math.nan, math.nan, math.nan)
    difference = float(np.mean(paired))
    error = float(np.std(paired, ddof=1) / math.sqrt(paired.size))
    if difference == 0.0:
        return Comparison(difference, error, math.nan)
    from scipy.special import ndtr  # deferred: costs start-up time

    wrong = float(ndtr(-abs(difference) / error)) if error else 0.0
    return Comparison(difference, error, max(1.0 - wrong * max(rivals, 1), 0.0))


def ranked(costs: Sequence[float], uncertainties: Sequence[float], met: Sequence[bool]) -> list[int]:
    """Order of preference: what meets the requirement, then the cheaper, then the more certain."""
    return sorted(range(len(costs)), key=lambda i: (not met[i], costs[i], uncertainties[i], i))
