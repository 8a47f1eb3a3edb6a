"""What the simulation says of one candidate, part length by part length, and whether that will do."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.ground.outcome import Outcome
from gatesim.studies.choice.model import WantedTable
from gatesim.studies.convention import CONVENTIONS
from gatesim.studies.moments import Moments
from gatesim.studies.result import Proportion


@dataclass(frozen=True)
class Figures:
    """Errors of the readings (reading minus true length), one entry a part length, (k,) SI.

    ``bias``, ``std``; ``rms`` = root of bias^2 + std^2 and its Monte Carlo standard error;
    ``good`` of ``trials`` were measured undisturbed; ``wrong`` probability of a wrong decision
    (NaN if not asked for). NaN where fewer than two trials gave a reading.
    """

    lengths: Array
    trials: int
    bias: Array
    std: Array
    rms: Array
    rms_error: Array
    good: Array
    wrong: Array

    @property
    def worst(self) -> int:
        """Index of the part length with the largest root mean square error."""
        return int(np.argmax(np.where(np.isnan(self.rms), np.inf, self.rms)))

    @property
    def uncertainty(self) -> float:
        """Root mean square error at the worst part length, m; infinite where one is not read."""
        value = float(self.rms[self.worst])
        return math.inf if math.isnan(value) else value

    @property
    def least_yield(self) -> float:
        """Share measured undisturbed at the part length where it is least."""
        return float(self.good.min()) / self.trials


@dataclass(frozen=True)
class Check:
    """One requirement: the figure at its worst part length, the limit, whether it is met.

    ``bound``: the one-sided 95 % confidence bound of the figure on the bad side, NaN if unknown.
    """

    name: str
    value: float
    bound: float
    limit: float
    met: bool
    unit: str


def figures_of(
    errors: Array, outcome: NDArray[np.int64], lengths: Array, wanted: WantedTable, each: int = 1
) -> Figures:
    """Figures from errors (k, m), NaN without a reading, and outcome codes (k, m).

    ``each``: trials in a row that are of one rig, and so depend on one another.
    """
    k, m = errors.shape
    bias, std, rms, rms_error, wrong = np.full((5, k), np.nan)
    for row, all_errors in enumerate(errors):
        e = all_errors[~np.isnan(all_errors)]
        if e.size < 2:
            continue
        moments = Moments.of(e, tails=False)
        square = Moments.of(rig_means(all_errors**2, each), tails=False)
        bias[row], std[row] = moments.mean, moments.std
        rms[row] = math.hypot(moments.mean, moments.std)
        rms_error[row] = square.std_error_of_mean / (2.0 * rms[row]) if rms[row] else 0.0
        if wanted.wrong_decision is not None:
            wrong[row] = _wrong_decision(e, wanted)
    return Figures(lengths, m, bias, std, rms, rms_error, (outcome == Outcome.MEASURED).sum(axis=1), wrong)


def rig_means(values: Array, each: int) -> Array:
    """Means (rigs,) of values (m,) over the trials of every rig, NaN left out; rigs with none too."""
    if each == 1:
        return values[~np.isnan(values)]
    read = ~np.isnan(values)
    rig = np.arange(values.size) // each
    count = np.bincount(rig, read)
    total = np.bincount(rig, np.where(read, values, 0.0))
    means: Array = total[count > 0] / count[count > 0]
    return means


def _wrong_decision(errors: Array, wanted: WantedTable) -> float:
    """Probability that the reading and the part are not on the same side of the tolerance limits.

    The part deviates from its wanted length by d, normal about 0, and reads d + e. For each
    simulated error e the probability over d is exact (JCGM 106, 9.5.2, both risks together).
    """
    assert wanted.process_standard_deviation is not None
    from scipy.special import ndtr  # deferred: costs start-up time

    half, s = wanted.tolerance.nominal, wanted.process_standard_deviation.nominal
    below, above = ndtr(-half / s), ndtr(half / s)
    least, most = ndtr((-half - errors) / s), ndtr((half - errors) / s)
    late = errors > 0.0
    # good parts that are accepted: those below both upper limits less those below either lower one
    both = np.maximum(np.where(late, most, above) - np.where(late, below, least), 0.0)
    return float(np.mean(above - below + (most - least) - 2.0 * both))


def capability(figures: Figures, wanted: WantedTable) -> Array:
    """C_gk at each part length, (k,), by the convention asked for."""
    c = CONVENTIONS[wanted.convention]
    width = 2.0 * wanted.tolerance.nominal
    with np.errstate(divide="ignore"):  # readings that never differ are infinitely capable
        index: Array = (c.share * width / 2.0 - np.abs(figures.bias)) / (c.spread / 2.0 * figures.std)
    return index


def checks_of(figures: Figures, wanted: WantedTable) -> tuple[Check, ...]:
    """Every requirement that was stated, at its worst part length."""
    least = figures.good.argmin()
    # one-sided 95 % from the two-sided 90 % interval
    bound = Proportion(int(figures.good[least]), figures.trials, confidence=0.90).low
    limit = wanted.least_yield.nominal
    found = [Check("yield", figures.least_yield, bound, limit, figures.least_yield >= limit, "")]
    if wanted.rms_error is not None:
        limit, value = wanted.rms_error.nominal, figures.uncertainty
        upper = float(np.max(figures.rms + 1.645 * figures.rms_error))
        found.append(Check("RMS error", value, upper, limit, value <= limit, "m"))
    if wanted.c_gk is not None:
        value = float(np.min(capability(figures, wanted)))
        found.append(Check("C_gk", value, math.nan, wanted.c_gk, value >= wanted.c_gk, ""))
    if wanted.wrong_decision is not None:
        limit, value = wanted.wrong_decision.nominal, float(np.max(figures.wrong))
        found.append(Check("wrong decision", value, math.nan, limit, value <= limit, ""))
    return tuple(found)


def meets(figures: Figures, wanted: WantedTable) -> bool:
    """Whether every requirement is met (by the point estimates)."""
    return all(check.met for check in checks_of(figures, wanted))
