"""One block of trials, and the running summary of many."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.reference import lines
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Joined
from gatesim.ground.nested import Layout, Nested
from gatesim.ground.outcome import Outcome
from gatesim.studies.levels import SQUARES, NestedSums, by_rig, variances
from gatesim.studies.model import Calibrated, Model, Trials, layout_of, levels_of, sample
from gatesim.studies.moments import Moments
from gatesim.studies.plan import Plan
from gatesim.studies.ranks import RankSummary, curve_of

# Figures of one block whose scatter from block to block tells their Monte Carlo error
FIGURES = ("bias", "uncertainty", "low", "high", "shortest_low", "shortest_high")
# Likewise of the variances by level (m^2), and of the errors left after calibration
LEVEL_FIGURES = ("passage", "part", "rig", "calibrated_bias", "calibrated_uncertainty")


@dataclass(frozen=True)
class Levels:
    """One formula's errors by level, in one block or in many: all of it adds up.

    ``calibrated``: moments of the errors that are left on the rigs that were calibrated, and
    ``calibrated_sums`` of those. ``good_squares``: sum over the rigs of the square of how many of
    their trials are read while nothing went wrong.
    """

    sums: NestedSums = field(default_factory=NestedSums)
    calibrated: Moments = field(default_factory=Moments)
    calibrated_sums: NestedSums = field(default_factory=NestedSums)
    good_squares: float = 0.0

    def __add__(self, other: "Levels") -> "Levels":
        return Levels(
            self.sums + other.sums,
            self.calibrated.merge(other.calibrated),
            self.calibrated_sums + other.calibrated_sums,
            self.good_squares + other.good_squares,
        )


@dataclass(frozen=True)
class Block:
    """What a worker sends back: ascending errors per formula (m, no NaN) and outcome counts.

    ``good``: trials per formula that are read by it while nothing went wrong. ``levels`` per
    formula. ``outcome_squares``: as ``outcomes``, of each rig's count the square.
    ``true_length``: moments of the true lengths. ``trials`` is kept for an export only.
    """

    errors: Mapping[str, Array]
    good: Mapping[str, int]
    levels: Mapping[str, Levels]
    outcomes: NDArray[np.int64]
    outcome_squares: Array
    true_length: Moments
    trials: Trials | None = None


def run_blocks(
    model: Model,
    plan: Plan,
    dimensions: Mapping[str, tuple[int, int]],
    keep_trials: bool,
    indices: Sequence[int],
) -> list[Block]:
    """Run blocks of a study; what comes out of each depends on the other arguments alone.

    They are evaluated together, as a motion costs hardly more for some hundred trials than for one.
    """
    keep_memory()
    layout, levels, lengths = layout_of(model), levels_of(model), _reference_lengths(model, plan)
    calibrated = lengths.size > 0
    draws = [plan.draw(index, dimensions, layout, levels, calibrated=calibrated) for index in indices]
    values = [values_in(model, plan, draw) for draw in draws]
    if len(draws) == 1:
        together = [model.evaluate(values[0], draws[0])]
    else:
        whole = model.evaluate(_one_after_another(values, draws), Joined(tuple(draws)))
        ends = np.cumsum([draw.trials for draw in draws]).tolist()
        together = [whole.part(slice(end - d.trials, end)) for end, d in zip(ends, draws, strict=True)]
    return [_block(own, draw, lengths, plan, keep_trials) for own, draw in zip(together, draws, strict=True)]


def keep_memory() -> None:
    """Let memory that a block has freed be there for the next one.

    glibc gives it back to the system unless a larger piece was freed before (mallopt(3), M_MMAP_THRESHOLD:
    its thresholds are dynamic up to 32 MiB), and gets it anew page by page. Elsewhere this does nothing.
    """
    np.empty(32_000_000, np.int8)


def values_in(model: Model, plan: Plan, draw: Nested) -> Mapping[str, Scalar]:
    """Of the inputs in the trials of a block, the reference passages behind them."""
    values = sample(model, draw)
    if draw.references is None or not isinstance(model, Calibrated):
        return values
    lengths = model.reference_lengths(plan.calibration.parts)
    each = np.tile(np.repeat(lengths, plan.calibration.passages), draw.references.rigs)
    return model.with_references(values, each, draw.trials)


def _reference_lengths(model: Model, plan: Plan) -> Array:
    """In m, (parts,); none for a model that is not calibrated."""
    return model.reference_lengths(plan.calibration.parts) if isinstance(model, Calibrated) else np.zeros(0)


def _one_after_another(values: Sequence[Mapping[str, Scalar]], draws: Sequence[Nested]) -> dict[str, Array]:
    """Values of the inputs in the trials of all blocks."""
    return {
        name: np.concatenate(
            [np.broadcast_to(own[name], (draw.trials,)) for own, draw in zip(values, draws, strict=True)]
        )
        for name in values[0]
    }


def _block(whole: Trials, draw: Nested, lengths: Array, plan: Plan, keep_trials: bool) -> Block:
    """What is kept of a block's trials; ``lengths`` of the reference parts."""
    layout, trials = draw.layout, whole.part(slice(draw.size))
    found, left = trials.errors(), _after_calibration(whole, draw, lengths)
    errors = {name: _ascending(e) for name, e in found.items()}
    measured = trials.outcome == Outcome.MEASURED
    good = {name: np.isfinite(e) & measured for name, e in found.items()}
    levels = {
        name: _levels(e, errors[name], good[name], left.get(name, np.zeros(0)), layout, plan.coverage)
        for name, e in found.items()
    }
    codes = np.bincount(trials.outcome)
    return Block(
        errors,
        {name: int(np.count_nonzero(g)) for name, g in good.items()},
        levels,
        codes,
        np.array([_squares(trials.outcome == code, layout) if n else 0.0 for code, n in enumerate(codes)]),
        Moments.of(np.broadcast_to(trials.true_length, trials.outcome.shape)),
        trials if keep_trials else None,
    )


def _ascending(errors: Array) -> Array:
    """Errors (n,) that there are, in order: NaN is sorted to the end."""
    ordered = np.sort(errors)
    return ordered[: ordered.size - np.count_nonzero(np.isnan(errors))]


def _squares(here: NDArray[np.bool_], layout: Layout) -> float:
    """Sum over the rigs of the squared number of trials for which it holds, (n,)."""
    if layout.each == 1:
        return float(np.count_nonzero(here))
    if here.all():
        whole, rest = divmod(here.size, layout.each)
        return float(whole * layout.each**2 + rest**2)
    count = np.nansum(by_rig(here.astype(float), layout), axis=(0, 1))
    return float(count @ count)


def _levels(
    errors: Array, ordered: Array, good: NDArray[np.bool_], left: Array, layout: Layout, coverage: float
) -> Levels:
    ends = curve_of(ordered).symmetric(coverage)
    sums = NestedSums.of(errors, layout, ends) if layout.each > 1 else NestedSums()
    return Levels(
        sums, Moments.of(left[~np.isnan(left)]), NestedSums.of(left, layout), _squares(good, layout)
    )


def _after_calibration(whole: Trials, draw: Nested, lengths: Array) -> dict[str, Array]:
    """Errors (m,) of the trials of the rigs that are calibrated, each by its own line; empty without."""
    references = draw.references
    if references is None:
        return {}
    own = whole.part(slice(min(references.rigs * draw.layout.each, draw.size)))
    rig = np.arange(own.outcome.size) // draw.layout.each
    shape = (references.rigs, references.layout.parts, references.layout.passages)
    known = whole.part(slice(draw.size, None)).readings
    if not known:
        return {}
    # rigs are rigs, whichever formula reads them
    gains, zeros = lines(np.concatenate([readings.reshape(shape) for readings in known.values()]), lengths)
    found = {}
    for number, name in enumerate(known):
        each = rig + number * references.rigs
        found[name] = gains[each] * own.readings[name] + zeros[each] - own.true_length
    return found


def figures_of(ordered: Array, moments: Moments, coverage: float) -> Array:
    """`FIGURES` of one block of ascending errors with these moments, shape (6,); NaN for fewer than two."""
    if ordered.size < 2:
        return np.full(len(FIGURES), np.nan)
    curve = curve_of(ordered)
    return np.array([moments.mean, moments.std, *curve.symmetric(coverage), *curve.shortest(coverage)])


def level_figures_of(levels: Levels, between: float, layout: Layout) -> Array:
    """`LEVEL_FIGURES` of one block, shape (5,); ``between``: its sum of squares between rigs."""
    left = [levels.calibrated.mean, levels.calibrated.std]
    return np.asarray(np.nan_to_num(np.array([*variances(levels.sums, between, layout), *left])))


@dataclass
class Scatter:
    """Running mean and squared deviations of the block figures, over whole blocks with readings.

    ``mean``, ``m2``: one entry a figure.
    """

    mean: Array
    m2: Array
    count: int = 0

    @staticmethod
    def of(figures: int) -> "Scatter":
        """No block yet."""
        return Scatter(np.zeros(figures), np.zeros(figures))

    def add(self, figures: Array) -> None:
        """Take in the figures of one block (Welford's update)."""
        if np.isnan(figures).any():
            return
        self.count += 1
        step = figures - self.mean
        self.mean = self.mean + step / self.count
        self.m2 = self.m2 + step * (figures - self.mean)

    @property
    def std(self) -> Array:
        """Standard deviation from block to block of every figure; NaN for fewer than two blocks."""
        if self.count < 2:
            return np.full(self.mean.size, np.nan)
        return np.asarray(np.sqrt(self.m2 / (self.count - 1)))


@dataclass
class FormulaSummary:
    """Running summary of one formula's errors."""

    moments: Moments = field(default_factory=Moments)
    ranks: RankSummary = field(default_factory=RankSummary)
    scatter: Scatter = field(default_factory=lambda: Scatter.of(len(FIGURES)))
    good: int = 0
    levels: Levels = field(default_factory=Levels)
    level_scatter: Scatter = field(default_factory=lambda: Scatter.of(len(LEVEL_FIGURES)))


@dataclass
class Summary:
    """Running summary of a study; blocks are added in order of their index."""

    coverage: float
    layout: Layout
    blocks: int = 0
    trials: int = 0
    formulas: dict[str, FormulaSummary] = field(default_factory=dict)
    outcomes: NDArray[np.int64] = field(default_factory=lambda: np.zeros(256, np.int64))
    outcome_squares: Array = field(default_factory=lambda: np.zeros(256))
    true_length: Moments = field(default_factory=Moments)

    def add(self, block: Block, whole: bool) -> None:
        """Take in the next block; ``whole`` is False for a last, shorter one."""
        self.blocks += 1
        self.trials += int(block.outcomes.sum())
        self.outcomes[: block.outcomes.size] += block.outcomes
        self.outcome_squares[: block.outcomes.size] += block.outcome_squares
        self.true_length = self.true_length.merge(block.true_length)
        for name, ordered in block.errors.items():
            formula = self.formulas.setdefault(name, FormulaSummary())
            moments, levels = Moments.of(ordered), block.levels[name]
            formula.moments = formula.moments.merge(moments)
            formula.levels = formula.levels + levels
            formula.ranks.add(ordered)
            formula.good += block.good[name]
            if whole:
                formula.scatter.add(figures_of(ordered, moments, self.coverage))
                between = moments.m2 - float(levels.sums.values[SQUARES][:2].sum())
                formula.level_scatter.add(level_figures_of(levels, between, self.layout))
