"""One block of trials, and the running summary of many."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.ground.outcome import Outcome
from gatesim.studies.model import Model, Trials, run
from gatesim.studies.moments import Moments
from gatesim.studies.plan import Plan
from gatesim.studies.ranks import RankSummary, curve_of

# Figures of one block whose scatter from block to block tells their Monte Carlo error
FIGURES = ("bias", "uncertainty", "low", "high", "shortest_low", "shortest_high")


@dataclass(frozen=True)
class Block:
    """What a worker sends back: ascending errors per formula (m, no NaN) and outcome counts.

    ``good``: trials per formula that are read by it while nothing went wrong.
    ``true_length``: moments of the true lengths. ``trials`` is kept for an export only.
    """

    errors: Mapping[str, Array]
    good: Mapping[str, int]
    outcomes: NDArray[np.int64]
    true_length: Moments
    trials: Trials | None = None


def run_block(
    model: Model, plan: Plan, dimensions: Mapping[str, tuple[int, int]], index: int, keep_trials: bool
) -> Block:
    """Run block ``index`` of a study; what comes out depends on the arguments alone."""
    trials = run(model, plan.draw(index, dimensions))
    found = trials.errors()
    errors = {name: np.sort(e[~np.isnan(e)]) for name, e in found.items()}
    measured = trials.outcome == Outcome.MEASURED
    good = {name: int(np.count_nonzero(np.isfinite(e) & measured)) for name, e in found.items()}
    lengths = np.broadcast_to(trials.true_length, trials.outcome.shape)
    kept = trials if keep_trials else None
    return Block(errors, good, np.bincount(trials.outcome), Moments.of(lengths), kept)


def figures_of(ordered: Array, coverage: float) -> Array:
    """`FIGURES` of one block of ascending errors, shape (6,); NaN for fewer than two."""
    if ordered.size < 2:
        return np.full(len(FIGURES), np.nan)
    curve = curve_of(ordered)
    moments = Moments.of(ordered)
    return np.array([moments.mean, moments.std, *curve.symmetric(coverage), *curve.shortest(coverage)])


@dataclass
class Scatter:
    """Running mean and squared deviations of the block figures, over whole blocks with readings."""

    count: int = 0
    mean: Array = field(default_factory=lambda: np.zeros(len(FIGURES)))
    m2: Array = field(default_factory=lambda: np.zeros(len(FIGURES)))

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
        """Standard deviation from block to block, shape (6,); NaN for fewer than two blocks."""
        if self.count < 2:
            return np.full(len(FIGURES), np.nan)
        return np.asarray(np.sqrt(self.m2 / (self.count - 1)))


@dataclass
class FormulaSummary:
    """Running summary of one formula's errors."""

    moments: Moments = field(default_factory=Moments)
    ranks: RankSummary = field(default_factory=RankSummary)
    scatter: Scatter = field(default_factory=Scatter)
    good: int = 0


@dataclass
class Summary:
    """Running summary of a study; blocks are added in order of their index."""

    coverage: float
    blocks: int = 0
    trials: int = 0
    formulas: dict[str, FormulaSummary] = field(default_factory=dict)
    outcomes: NDArray[np.int64] = field(default_factory=lambda: np.zeros(256, np.int64))
    true_length: Moments = field(default_factory=Moments)

    def add(self, block: Block, whole: bool) -> None:
        """Take in the next block; ``whole`` is False for a last, shorter one."""
        self.blocks += 1
        self.trials += int(block.outcomes.sum())
        self.outcomes[: block.outcomes.size] += block.outcomes
        self.true_length = self.true_length.merge(block.true_length)
        for name, ordered in block.errors.items():
            formula = self.formulas.setdefault(name, FormulaSummary())
            formula.moments = formula.moments.merge(Moments.of(ordered))
            formula.ranks.add(ordered)
            formula.good += block.good[name]
            if whole:
                formula.scatter.add(figures_of(ordered, self.coverage))
