"""Uncertainty budget by the law of propagation (JCGM 100:2008, clause 5).

The measured quantity is the error of the reading, reading minus true length. It is
differentiated with the counter left unrounded and every stage that samples at its mean delay,
because both make a staircase whose slope is zero or infinite. Each input, and each noise the chain
draws by itself (jitter, phases), is a row; so is each sampling stage, and the rounding to whole counts.
Noises that act in no straight line are simulated, each alone, and so are the staircases.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import ClassVar

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.ground.draw import Streams
from gatesim.ground.level import Level
from gatesim.ground.nested import Layout, Nested
from gatesim.studies.budgetrow import SIMULATED, BudgetRow, sized
from gatesim.studies.model import Model, Noisy, Run, Sampled, correlations_of, levels_of, run_each
from gatesim.studies.slopes import Component, ErrorFunction, Slopes

COUNTING = "rounding to whole counts"
SIMULATED_TRIALS = 20_000
PASSAGES = 4  # of each part that a staircase is looked at: they move alike, and have phases of their own
LEAST_SHARE = 1e-4  # of the combined variance, for a covariance


@dataclass(frozen=True)
class Covariance:
    """What two correlated quantities add to the variance, 2 c_i c_j u_i u_j r, in m^2 (JCGM 100, 5.2.2).

    ``share``: part of the combined variance; below 0 where the two work against each other.
    """

    quantities: tuple[str, str]
    coefficient: float
    variance: float
    per: Level
    share: float = math.nan

    KEYS: ClassVar[Keys] = {"share": "share_of_variance"}

    @property
    def matters(self) -> bool:
        """Whether it is worth a line."""
        return not abs(self.share) <= LEAST_SHARE


@dataclass(frozen=True)
class Budget:
    """Budget of one formula: rows by falling contribution, covariances likewise, and their sum.

    ``error``: at the nominal values, with the mean effect of the simulated rows, in m.
    """

    formula: str
    error: float
    rows: Sequence[BudgetRow]
    covariances: Sequence[Covariance]
    combined: float
    effective_degrees_of_freedom: float
    coverage: float
    coverage_factor: float

    KEYS: ClassVar[Keys] = {
        "formula": "formula",
        "error": "error_at_nominal",
        "rows": "rows",
        "combined": "combined_standard_uncertainty",
        "effective_degrees_of_freedom": "effective_degrees_of_freedom",
        "coverage": "coverage",
        "coverage_factor": "coverage_factor",
        "expanded": "expanded_uncertainty",
        "interval": "interval",
        "repeatability": "repeatability",
        "part_to_part": "part_to_part",
        "rig_to_rig": "rig_to_rig",
    }

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = k u_c (JCGM 100, clause 6)."""
        return self.coverage_factor * self.combined

    def of_level(self, per: Level) -> float:
        """Standard uncertainty of what is drawn so often, in m."""
        return combined_of(
            [row for row in self.rows if row.per == per], [c for c in self.covariances if c.per == per]
        )

    @property
    def repeatability(self) -> float:
        """Standard uncertainty of what is new with every passage, m."""
        return self.of_level("passage")

    @property
    def part_to_part(self) -> float:
        """Of what is new with every part."""
        return self.of_level("part")

    @property
    def rig_to_rig(self) -> float:
        """Of what is new with every rig."""
        return self.of_level("rig")

    @property
    def interval(self) -> tuple[float, float]:
        """Coverage interval of the error, error at nominal values plus and minus U."""
        return self.error - self.expanded, self.error + self.expanded


def _rows(axes: Sequence[Component], slopes: Slopes) -> list[BudgetRow]:
    rows: dict[str, BudgetRow] = {}
    for a, c, bend, kink in zip(axes, slopes.slope, slopes.curvature, slopes.secant, strict=True):
        c, bend, kink = float(c), float(bend), bool(kink)
        if a.name not in rows:
            rows[a.name] = BudgetRow(
                a.name,
                a.value,
                a.u,
                a.distribution,
                a.degrees_of_freedom,
                c / a.u,
                c,
                bend,
                kink,
                a.unit,
                a.per,
            )
            continue
        # further columns of one noise are independent of each other: their variances add
        one = rows[a.name]
        both = math.hypot(one.contribution, c)
        rows[a.name] = replace(
            one,
            contribution=both,
            sensitivity=both / a.u,
            curvature=one.curvature + bend,
            secant=one.secant or kink,
        )
    return list(rows.values())


def _simulated(name: str, errors: Array) -> BudgetRow:
    """A row whose effect is found by simulation; NaN where hardly a trial is read."""
    read = errors[~np.isnan(errors)]
    mean, u = (float(np.mean(read)), float(np.std(read, ddof=1))) if read.size > 1 else (math.nan, math.nan)
    return BudgetRow(name, mean, u, SIMULATED, math.inf, 1.0, u, 0.0, False)


def _nonlinear_noise(
    function: ErrorFunction, slopes: Slopes, error: float, seed: int, trials: int
) -> dict[str, BudgetRow]:
    """Noises that act in no straight line (pulses of chatter, an angle all round): simulated alone."""
    names = {
        axis.name
        for axis, straight in zip(function.axes, slopes.straight, strict=True)
        if axis.kind != "input" and not straight
    }
    return {n: _simulated(n, function.alone(n, seed, trials) - error) for n in sorted(names)}


def _staircases(model: Model, formula: str, seed: int, trials: int) -> list[BudgetRow]:
    """Sampling stages, and rounding to whole counts: the scatter of each over the rig's own spread.

    By common random numbers, each stage alone on top of the smooth model, and the rounding on top of
    all of them; what makes no difference is left out. Averaged over a spread of many steps it comes to
    the textbook values; a rig steadier than one step shows its own. Several passages of each part, since
    what makes a staircase scatter is drawn with every passage, and the motion once a part.
    """
    layout = Layout(passages=PASSAGES)
    draw = Nested(Streams(seed, 0, layout.rigs(trials)), layout, levels_of(model), trials)
    stages: tuple[str, ...] = ()
    models = [model]
    if isinstance(model, Sampled):
        stages = model.sampling_stages
        models += [model.sampling_in({stage}) for stage in stages]
        models += [model.sampling_in(stages)] if len(stages) > 1 else []
    runs = [Run(each, draw, quantised=False) for each in models]
    whole, smooth, *sampled = (each.errors()[formula] for each in run_each([Run(model, draw), *runs]))
    found = [
        replace(_simulated(stage, alone - smooth), staircase=True)
        for stage, alone in zip(stages, sampled, strict=False)  # the last has all of many stages
    ]
    shift = whole - (sampled[-1] if sampled else smooth)
    if np.nan_to_num(shift).any():
        found.append(replace(_simulated(COUNTING, shift), staircase=True))
    return found


def _covariances(model: Model, rows: Sequence[BudgetRow]) -> list[Covariance]:
    of = {row.name: row for row in rows}
    found = []
    for group in correlations_of(model):
        for one, other in combinations([name for name in group.names if name in of], 2):
            r = group.coefficient(one, other)
            if r:
                variance = 2.0 * r * of[one].contribution * of[other].contribution
                found.append(Covariance((one, other), r, variance, of[one].per))
    return sorted(found, key=lambda c: -abs(c.variance))


def combined_of(rows: Sequence[BudgetRow], covariances: Sequence[Covariance]) -> float:
    """Combined standard uncertainty (JCGM 100, 5.2.2, formula (16)); a fully correlated one may be 0."""
    variance = sum(row.contribution**2 for row in rows) + sum(c.variance for c in covariances)
    return math.nan if math.isnan(variance) else math.sqrt(max(variance, 0.0))


def effective_degrees_of_freedom(rows: Sequence[BudgetRow], combined: float) -> float:
    """Welch-Satterthwaite formula (JCGM 100, G.4.1, formula G.2b), as if all were independent."""
    weight = sum(row.contribution**4 / row.degrees_of_freedom for row in rows)
    return combined**4 / weight if weight else math.inf


def coverage_factor(coverage: float, degrees_of_freedom: float) -> float:
    """Student's t for the degrees of freedom truncated to an integer (JCGM 100, G.4.1, note 1)."""
    from scipy.stats import norm, t  # deferred: costs start-up time

    p = (1.0 + coverage) / 2.0
    if math.isinf(degrees_of_freedom):
        return float(norm.ppf(p))
    return float(t.ppf(p, max(math.floor(degrees_of_freedom), 1)))


def budget(
    model: Model, formula: str, coverage: float = 0.95, seed: int = 1, trials: int = SIMULATED_TRIALS
) -> Budget:
    """Uncertainty budget of one formula; ``trials`` of each row that is simulated.

    Raises InputError if the nominal part gives no reading.
    """
    function = ErrorFunction(model, formula)
    error, slopes = function.nominal(), function.slopes()
    nonlinear = _nonlinear_noise(function, slopes, error, seed, trials)
    rows = [nonlinear.get(row.name, row) for row in _rows(function.axes, slopes)]
    rows = sized(rows, model.noise_sizes if isinstance(model, Noisy) else {})
    error += sum(row.value for row in nonlinear.values())
    stairs = _staircases(model, formula, seed, trials)
    rows += stairs
    error += sum(row.value for row in stairs)
    rows.sort(key=lambda row: -abs(row.contribution) if not math.isnan(row.contribution) else -math.inf)
    together = _covariances(model, rows)
    combined = combined_of(rows, together)
    covariances = [replace(c, share=c.variance / combined**2 if combined else 0.0) for c in together]
    nu = effective_degrees_of_freedom(rows, combined)
    k = math.nan if math.isnan(combined) else coverage_factor(coverage, nu)
    shared = [replace(row, share=(row.contribution / combined) ** 2 if combined else 0.0) for row in rows]
    return Budget(formula, error, shared, covariances, combined, nu, coverage, k)
