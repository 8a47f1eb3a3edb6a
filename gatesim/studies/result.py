"""Figures of a Monte Carlo study, each with its own Monte Carlo error."""

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gatesim.ground.data import Keys
from gatesim.ground.nested import Layout
from gatesim.studies.block import FormulaSummary, Summary
from gatesim.studies.levels import SQUARES, NestedSums, as_std, components
from gatesim.studies.model import WORDS, Model, layout_of, levels_of
from gatesim.studies.plan import Plan
from gatesim.studies.ranks import RankCurve


@dataclass(frozen=True)
class Estimate:
    """A value and its Monte Carlo standard error, same unit; the error is NaN where it is not known."""

    value: float
    error: float

    KEYS: ClassVar[Keys] = {"value": "value", "error": "monte_carlo_error"}


@dataclass(frozen=True)
class Proportion:
    """``count`` of so many ``trials`` with one outcome, and the confidence interval of their share.

    Clopper-Pearson, exact for independent trials and conservative for Sobol points. ``effect``: variance
    of the share over that of independent trials (design effect), by which the sample is taken smaller
    (E. L. Korn and B. I. Graubard, 1998; from memory).
    """

    count: int
    trials: int
    effect: float = 1.0
    confidence: float = 0.95

    KEYS: ClassVar[Keys] = {
        "count": "count",
        "share": "share",
        "low": "low",
        "high": "high",
        "trials": None,
        "effect": None,
        "confidence": None,
    }

    @property
    def share(self) -> float:
        """Share of the trials."""
        return self.count / self.trials

    @property
    def low(self) -> float:
        """Lower end of the interval."""
        return self._end(0.0, (1.0 - self.confidence) / 2.0) if self.count else 0.0

    @property
    def high(self) -> float:
        """Upper end of the interval."""
        return self._end(1.0, 1.0 - (1.0 - self.confidence) / 2.0) if self.count < self.trials else 1.0

    def _end(self, more: float, p: float) -> float:
        from scipy.special import betaincinv  # deferred: costs start-up time, and few ask for it

        seen, missed = self.count / self.effect, (self.trials - self.count) / self.effect
        return float(betaincinv(seen + more, missed + 1.0 - more, p))


@dataclass(frozen=True)
class FormulaResult:
    """Errors (reading minus true length, m) of one formula, over the trials that gave a reading.

    ``low``/``high``: probabilistically symmetric coverage interval; ``shortest_*``: the shortest.
    ``resolution``: the bounded-memory summary puts the ends of these intervals no further off; it is
    part of their errors.
    Everything is NaN where there is no reading. ``good``: the yield, share of all trials that this
    formula reads while nothing went wrong.
    Standard deviations by level: ``repeatability`` (same part, same rig: JCGM 200, 2.20; ISO 5725-1),
    ``part_to_part`` on one rig, ``rig_to_rig``; their variances add up to that of ``uncertainty``.
    ``calibrated_bias``, ``calibrated``: bias and standard uncertainty left where every rig is
    calibrated with reference parts; NaN where the model cannot be.
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
    good: Proportion
    repeatability: Estimate
    part_to_part: Estimate
    rig_to_rig: Estimate
    calibrated_bias: Estimate
    calibrated: Estimate

    KEYS: ClassVar[Keys] = {
        "readings": "readings",
        "bias": "bias",
        "uncertainty": "standard_uncertainty",
        "repeatability": "repeatability",
        "part_to_part": "part_to_part",
        "rig_to_rig": "rig_to_rig",
        "calibrated": "after_calibration",
        "calibrated_bias": "bias_after_calibration",
        "symmetric_interval": "symmetric_interval",
        "shortest_interval": "shortest_interval",
        "extremes": "extremes",
        "resolution": "interval_resolution",
        "good": "yield",
        "low": None,
        "high": None,
        "shortest_low": None,
        "shortest_high": None,
        "minimum": None,
        "maximum": None,
        "curve": None,
    }

    @property
    def symmetric_interval(self) -> tuple[Estimate, Estimate]:
        """Ends of the probabilistically symmetric coverage interval."""
        return self.low, self.high

    @property
    def shortest_interval(self) -> tuple[Estimate, Estimate]:
        """Ends of the shortest coverage interval."""
        return self.shortest_low, self.shortest_high

    @property
    def extremes(self) -> tuple[float, float]:
        """Least and greatest error."""
        return self.minimum, self.maximum


class OfOneFormula(ABC):
    """Short names for the figures of the one formula that is looked at; m."""

    @property
    @abstractmethod
    def figures(self) -> FormulaResult:
        """All figures of the formula."""

    @property
    def bias(self) -> float:
        """Mean error of the readings; NaN where nothing is read."""
        return self.figures.bias.value

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of a reading."""
        return self.figures.uncertainty.value

    @property
    def low(self) -> float:
        """Lower end of the symmetric coverage interval of the error."""
        return self.figures.low.value

    @property
    def high(self) -> float:
        """Upper end of the symmetric coverage interval of the error."""
        return self.figures.high.value


@dataclass(frozen=True)
class StudyResult:
    """Result of a study. ``ended`` says why it stopped: complete, tolerance reached, interrupted, ..."""

    plan: Plan
    trials: int
    formulas: Mapping[str, FormulaResult]
    outcomes: Mapping[str, Proportion]
    true_length: float
    true_length_varies: bool
    ended: str

    KEYS: ClassVar[Keys] = {
        "trials": "trials",
        "ended": "ended",
        "plan": "",
        "true_length": "true_length",
        "formulas": "error",
        "outcomes": "outcomes",
        "true_length_varies": None,
    }


def _effect(count: int, squares: float, trials: int, layout: Layout) -> float:
    """Design effect of a share, whose trials come in rigs; the greatest there is where all are alike."""
    scatter = squares - layout.each * count**2 / trials
    independent = count * (1.0 - count / trials)
    return max(scatter / independent, 1.0) if 0 < count < trials else float(layout.each)


def _rank_errors(curve: RankCurve, coverage: float, steps: tuple[float, float]) -> tuple[float, float]:
    """Standard errors of the symmetric interval's ends, from the scatter ``steps`` of their ranks.

    The distribution-free counterpart of sqrt(p(1-p)/n)/density, see e.g. David and Nagaraja,
    Order Statistics (2003), section 7.1 (from memory).
    """
    errors = []
    for rank, step in zip(curve.symmetric_ranks(coverage), steps, strict=True):
        ends = curve.at(np.clip([rank - step, rank + step], 1.0, max(curve.count, 1)))
        errors.append(float(ends[1] - ends[0]) / 2.0)
    return errors[0], errors[1]


def _whole_points(curve: RankCurve, coverage: float, step: float) -> list[float]:
    """What the ends of the two intervals move by with a ``step`` of their ranks, m, (4,).

    Sobol points are so even that below an end lie as many points of every replicate, but for one: the
    ends of single replicates, which stand between points, may scatter less than that.
    """
    ends = np.array(curve.symmetric(coverage) + curve.shortest(coverage))
    rank = np.interp(ends, curve.values, curve.ranks)
    moved = [curve.at(np.clip(rank + sign * step, 1.0, max(curve.count, 1))) for sign in (-1.0, 1.0)]
    return [float(e) for e in (moved[1] - moved[0]) / 2.0]


def _errors(summary: FormulaSummary, curve: RankCurve, plan: Plan, layout: Layout) -> list[float]:
    """Monte Carlo standard errors in the order of `gatesim.studies.block.FIGURES`."""
    blocks = max(summary.scatter.count, 1)
    scatter = summary.scatter.std
    if plan.quasi:  # replicates are independent, the points within one are not
        whole = [0.0, 0.0, *_whole_points(curve, plan.coverage, 0.5 * math.sqrt(blocks))]
        return [float(e) for e in np.hypot(scatter / math.sqrt(blocks), whole)]
    # where the density is flat the ends of the shortest interval converge with the cube root only
    shortest = [float(e) for e in scatter[4:] / blocks ** (1.0 / 3.0)]
    moments, sums, n = summary.moments, summary.levels.sums, curve.count
    if layout.each == 1:
        step = math.sqrt(n * (1.0 - plan.coverage) / 2.0 * (1.0 + plan.coverage) / 2.0)
        errors = [moments.std_error_of_mean, moments.std_error_of_std]
        return [*errors, *_rank_errors(curve, plan.coverage, (step, step)), *shortest]
    _, std_error = as_std(moments.m2 / (n - 1.0), _total_error(sums, n)) if n > 1 else (0.0, math.nan)
    return [sums.mean_error, std_error, *_rank_errors(curve, plan.coverage, sums.rank_steps), *shortest]


def _total_error(sums: NestedSums, n: int) -> float:
    """Standard error of the variance of all errors."""
    return sums.variance_error(np.full(3, 1.0 / (n - 1.0)))


def _by_level(
    summary: FormulaSummary, plan: Plan, model: Model
) -> tuple[Estimate, Estimate, Estimate] | None:
    """Repeatability, part to part, rig to rig; None where all is new with every passage."""
    layout = layout_of(model)
    if layout.each == 1:
        return None
    between = summary.moments.m2 - float(summary.levels.sums.values[SQUARES][:2].sum())
    found = components(summary.levels.sums, between, layout)
    variances = [found.passage, found.part, found.rig]
    if plan.quasi:
        errors = summary.level_scatter.std[:3] / math.sqrt(max(summary.level_scatter.count, 1))
        variances = [(value, float(e)) for (value, _), e in zip(variances, errors, strict=True)]
    passage, part, rig = (Estimate(*as_std(*variance)) for variance in variances)
    if "rig" not in levels_of(model).values():  # the groups are parts then, and every rig is the same
        return passage, rig, Estimate(0.0, 0.0)
    return passage, part, rig


def _calibrated(summary: FormulaSummary, plan: Plan) -> tuple[Estimate, Estimate]:
    """Bias and standard uncertainty left on rigs that were calibrated."""
    left, sums = summary.levels.calibrated, summary.levels.calibrated_sums
    if left.count < 2:
        return Estimate(math.nan, math.nan), Estimate(math.nan, math.nan)
    if plan.quasi:
        errors = summary.level_scatter.std[3:] / math.sqrt(max(summary.level_scatter.count, 1))
        return Estimate(left.mean, float(errors[0])), Estimate(left.std, float(errors[1]))
    _, error = as_std(left.m2 / (left.count - 1.0), _total_error(sums, left.count))
    return Estimate(left.mean, sums.mean_error), Estimate(left.std, error)


def _formula(summary: FormulaSummary, plan: Plan, trials: int, model: Model) -> FormulaResult:
    curve, layout, nan = summary.ranks.curve(), layout_of(model), math.nan
    effect = _effect(summary.good, summary.levels.good_squares, trials, layout)
    good = Proportion(summary.good, trials, effect)
    if not curve.count:
        no = Estimate(nan, nan)
        return FormulaResult(0, no, no, no, no, no, no, nan, nan, nan, curve, good, no, no, no, no, no)
    ends = curve.symmetric(plan.coverage) + curve.shortest(plan.coverage)
    values = (summary.moments.mean, summary.moments.std, *ends)
    resolution = [summary.ranks.resolution(end) for end in ends]
    errors = np.hypot(_errors(summary, curve, plan, layout), [0.0, 0.0, *resolution])
    bias, uncertainty, low, high, shortest_low, shortest_high = (
        Estimate(v, float(e)) for v, e in zip(values, errors, strict=True)
    )
    passage, part, rig = _by_level(summary, plan, model) or (uncertainty, Estimate(0, 0), Estimate(0, 0))
    calibrated_bias, calibrated = _calibrated(summary, plan)
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
        resolution=max(resolution),
        curve=curve,
        good=good,
        repeatability=passage,
        part_to_part=part,
        rig_to_rig=rig,
        calibrated_bias=calibrated_bias,
        calibrated=calibrated,
    )


def result_of(summary: Summary, plan: Plan, ended: str, model: Model) -> StudyResult:
    """Work out the figures of what has been summarised so far."""
    shares = {}
    for code, word in WORDS.items():
        count, squares = int(summary.outcomes[code]), float(summary.outcome_squares[code])
        if count:
            effect = _effect(count, squares, summary.trials, summary.layout)
            shares[word] = Proportion(count, summary.trials, effect)
    return StudyResult(
        plan=plan,
        trials=summary.trials,
        formulas={name: _formula(f, plan, summary.trials, model) for name, f in summary.formulas.items()},
        outcomes=shares,
        true_length=summary.true_length.mean if summary.true_length.count else math.nan,
        true_length_varies=summary.true_length.m2 > 0.0,
        ended=ended,
    )
