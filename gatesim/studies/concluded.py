"""From what a study has summed up to its figures, and to the Monte Carlo error of each."""

import math

import numpy as np

from gatesim.ground.nested import Layout
from gatesim.studies.block import FormulaSummary, Summary
from gatesim.studies.levels import SQUARES, NestedSums, as_std, components
from gatesim.studies.model import WORDS, Model, layout_of, levels_of
from gatesim.studies.plan import Plan
from gatesim.studies.ranks import RankCurve
from gatesim.studies.result import Estimate, FormulaResult, Proportion, StudyResult


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
