"""Figures of a Monte Carlo study, each with its own Monte Carlo error."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from gatesim.studies.block import FormulaSummary, Summary
from gatesim.studies.model import WORDS
from gatesim.studies.plan import Plan
from gatesim.studies.ranks import RankCurve


@dataclass(frozen=True)
class Estimate:
    """A value and its Monte Carlo standard error, same unit; the error is NaN where it is not known."""

    value: float
    error: float


@dataclass(frozen=True)
class Share:
    """Share of trials with one outcome, and its 95 % confidence interval (Clopper-Pearson)."""

    count: int
    share: float
    low: float
    high: float


@dataclass(frozen=True)
class FormulaResult:
    """Errors (reading minus true length, m) of one formula, over the trials that gave a reading.

    ``low``/``high``: probabilistically symmetric coverage interval; ``shortest_*``: the shortest.
    ``resolution``: the bounded-memory summary puts the ends of these intervals no further off.
    Everything is NaN where there is no reading. ``good``: the yield, share of all trials that this
    formula reads while nothing went wrong.
    """

    readings: int
    bias: Estimate
    uncertainty: Estimate
    low: Estimate
    high: Estimate
    shortest_low: Estimate
    shortest_high: Estimate
    minimum: float
    maximum: float
    resolution: float
    curve: RankCurve
    good: Share


@dataclass(frozen=True)
class StudyResult:
    """Result of a study. ``ended`` says why it stopped: complete, tolerance reached, interrupted, ..."""

    plan: Plan
    trials: int
    formulas: Mapping[str, FormulaResult]
    outcomes: Mapping[str, Share]
    true_length: float
    true_length_varies: bool
    ended: str


def share(count: int, trials: int, confidence: float = 0.95) -> Share:
    """Share with its exact (Clopper-Pearson) confidence interval; conservative for Sobol points."""
    from scipy.stats import binomtest  # deferred: costs start-up time

    ci = binomtest(count, trials).proportion_ci(confidence, method="exact")
    return Share(count, count / trials, float(ci.low), float(ci.high))


def _rank_errors(curve: RankCurve, coverage: float) -> tuple[float, float]:
    """Standard errors of the symmetric interval's ends, from the binomial scatter of ranks.

    The distribution-free counterpart of sqrt(p(1-p)/n)/density, see e.g. David and Nagaraja,
    Order Statistics (2003), section 7.1 (from memory).
    """
    n = curve.count
    step = math.sqrt(n * (1.0 - coverage) / 2.0 * (1.0 + coverage) / 2.0)
    errors = []
    for rank in curve.symmetric_ranks(coverage):
        ends = curve.at(np.clip([rank - step, rank + step], 1.0, max(n, 1)))
        errors.append(float(ends[1] - ends[0]) / 2.0)
    return errors[0], errors[1]


def _errors(summary: FormulaSummary, curve: RankCurve, plan: Plan) -> list[float]:
    """Monte Carlo standard errors in the order of `gatesim.studies.block.FIGURES`."""
    blocks = max(summary.scatter.count, 1)
    scatter = summary.scatter.std
    if plan.quasi:  # replicates are independent, the points within one are not
        return [float(e) for e in scatter / math.sqrt(blocks)]
    # where the density is flat the ends of the shortest interval converge with the cube root only
    shortest = scatter[4:] / blocks ** (1.0 / 3.0)
    moments = summary.moments
    return [
        moments.std_error_of_mean,
        moments.std_error_of_std,
        *_rank_errors(curve, plan.coverage),
        *(float(e) for e in shortest),
    ]


def _formula(summary: FormulaSummary, plan: Plan, trials: int) -> FormulaResult:
    curve, good = summary.ranks.curve(), share(summary.good, trials)
    if not curve.count:
        nothing = Estimate(math.nan, math.nan)
        return FormulaResult(
            0, nothing, nothing, nothing, nothing, nothing, nothing, math.nan, math.nan, math.nan, curve, good
        )
    ends = curve.symmetric(plan.coverage) + curve.shortest(plan.coverage)
    values = (summary.moments.mean, summary.moments.std, *ends)
    bias, uncertainty, low, high, shortest_low, shortest_high = (
        Estimate(v, e) for v, e in zip(values, _errors(summary, curve, plan), strict=True)
    )
    return FormulaResult(
        curve.count,
        bias,
        uncertainty,
        low,
        high,
        shortest_low,
        shortest_high,
        minimum=float(curve.values[0]),
        maximum=float(curve.values[-1]),
        resolution=max(summary.ranks.resolution(end) for end in ends),
        curve=curve,
        good=good,
    )


def result_of(summary: Summary, plan: Plan, ended: str) -> StudyResult:
    """Work out the figures of what has been summarised so far."""
    seen = [code for code in WORDS if summary.outcomes[code]]
    return StudyResult(
        plan=plan,
        trials=summary.trials,
        formulas={name: _formula(f, plan, summary.trials) for name, f in summary.formulas.items()},
        outcomes={WORDS[code]: share(int(summary.outcomes[code]), summary.trials) for code in seen},
        true_length=summary.true_length.mean if summary.true_length.count else math.nan,
        true_length_varies=summary.true_length.m2 > 0.0,
        ended=ended,
    )
