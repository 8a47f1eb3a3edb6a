"""Uncertainty budget by the law of propagation (JCGM 100:2008, clause 5).

The measured quantity is the error of the reading, reading minus true length. It is
differentiated with the counter left unrounded, because counting makes a staircase
whose slope is zero or infinite. Each input, and each noise the chain draws by itself
(jitter, phases), is a row; the rounding to whole counts is a row of its own. Noises that
act in no straight line are simulated, each alone, and so is the rounding.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.ground.draw import Streams
from gatesim.studies.model import Model, run
from gatesim.studies.slopes import Axis, ErrorFunction, Slopes

COUNTING = "rounding to whole counts"
SIMULATED_TRIALS = 20_000
NEGLIGIBLE = 1e-9  # of the combined standard uncertainty


@dataclass(frozen=True)
class Row:
    """One line of the budget; all in SI.

    ``sensitivity``: derivative of the error by the quantity; ``contribution`` = sensitivity
    times u, in m, NaN if the part is no longer read within one u of the nominal value.
    ``curvature``: how far the mean of the errors at plus and minus u is from the nominal
    error, in m: it is 0 for a linear model. ``secant`` tells that the derivative did not
    converge (a kink), and the slope between minus and plus u stands in its place
    (JCGM 100, 5.1.3, note 2). ``share``: part of the combined variance, 0 to 1.
    """

    name: str
    value: float
    u: float
    distribution: str
    degrees_of_freedom: float
    sensitivity: float
    contribution: float
    curvature: float
    secant: bool
    unit: str = ""
    share: float = math.nan

    KEYS: ClassVar[Keys] = {
        "name": "quantity",
        "value": "value",
        "u": "standard_uncertainty",
        "distribution": "distribution",
        "degrees_of_freedom": "degrees_of_freedom",
        "sensitivity": "sensitivity",
        "contribution": "contribution",
        "share": "share_of_variance",
        "curvature": "curvature",
        "secant": "secant",
        "unit": None,
    }

    def matters(self, combined: float) -> bool:
        """Whether it has any influence beyond the rounding of floating-point numbers."""
        return math.isnan(self.contribution) or abs(self.contribution) > NEGLIGIBLE * combined


@dataclass(frozen=True)
class Budget:
    """Budget of one formula: rows by falling contribution, and their sum.

    ``error``: at the nominal values, with the mean effect of the simulated rows, in m.
    """

    formula: str
    error: float
    rows: Sequence[Row]
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
    }

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = k u_c (JCGM 100, clause 6)."""
        return self.coverage_factor * self.combined

    @property
    def interval(self) -> tuple[float, float]:
        """Coverage interval of the error, error at nominal values plus and minus U."""
        return self.error - self.expanded, self.error + self.expanded


def _rows(axes: Sequence[Axis], slopes: Slopes) -> list[Row]:
    rows: dict[str, Row] = {}
    for a, c, bend, kink in zip(axes, slopes.slope, slopes.curvature, slopes.secant, strict=True):
        c, bend, kink = float(c), float(bend), bool(kink)
        if a.name not in rows:
            rows[a.name] = Row(
                a.name, a.value, a.u, a.distribution, a.degrees_of_freedom, c / a.u, c, bend, kink, a.unit
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


def _simulated(name: str, errors: Array) -> Row:
    """A row whose effect is found by simulation; NaN where hardly a trial is read."""
    read = errors[~np.isnan(errors)]
    mean, u = (float(np.mean(read)), float(np.std(read, ddof=1))) if read.size > 1 else (math.nan, math.nan)
    return Row(name, mean, u, "simulated", math.inf, 1.0, u, 0.0, False)


def _crooked_noise(function: ErrorFunction, slopes: Slopes, error: float, seed: int) -> dict[str, Row]:
    """Noises that act in no straight line (pulses of chatter, an angle all round): simulated alone."""
    names = {
        axis.name
        for axis, straight in zip(function.axes, slopes.straight, strict=True)
        if axis.kind != "input" and not straight
    }
    return {n: _simulated(n, function.alone(n, seed, SIMULATED_TRIALS) - error) for n in sorted(names)}


def _counting(model: Model, formula: str, seed: int) -> Row | None:
    """Rounding to whole counts: its scatter over the rig's own spread, by common random numbers.

    None if the model does not round. Averaged over a spread of many counts it comes to the
    textbook values; a rig steadier than one count shows its own.
    """
    draw = Streams(seed, 0, SIMULATED_TRIALS)
    rounded = run(model, draw).errors()[formula]
    shift = rounded - run(model, draw, quantised=False).errors()[formula]
    return _simulated(COUNTING, shift) if np.nan_to_num(shift).any() else None


def effective_degrees_of_freedom(rows: Sequence[Row], combined: float) -> float:
    """Welch-Satterthwaite formula (JCGM 100, G.4.1, formula G.2b)."""
    weight = sum(row.contribution**4 / row.degrees_of_freedom for row in rows)
    return combined**4 / weight if weight else math.inf


def coverage_factor(coverage: float, degrees_of_freedom: float) -> float:
    """Student's t for the degrees of freedom truncated to an integer (JCGM 100, G.4.1, note 1)."""
    from scipy.stats import norm, t  # deferred: costs start-up time

    p = (1.0 + coverage) / 2.0
    if math.isinf(degrees_of_freedom):
        return float(norm.ppf(p))
    return float(t.ppf(p, max(math.floor(degrees_of_freedom), 1)))


def budget(model: Model, formula: str, coverage: float = 0.95, seed: int = 1) -> Budget:
    """Uncertainty budget of one formula.

    Raises InputError if the nominal part gives no reading.
    """
    function = ErrorFunction(model, formula)
    error, slopes = function.nominal(), function.slopes()
    crooked = _crooked_noise(function, slopes, error, seed)
    rows = [crooked.get(row.name, row) for row in _rows(function.axes, slopes)]
    error += sum(row.value for row in crooked.values())
    counting = _counting(model, formula, seed)
    if counting is not None:
        rows.append(counting)
        error += counting.value
    rows.sort(key=lambda row: -abs(row.contribution) if not math.isnan(row.contribution) else -math.inf)
    combined = math.sqrt(sum(row.contribution**2 for row in rows))
    nu = effective_degrees_of_freedom(rows, combined)
    k = math.nan if math.isnan(combined) else coverage_factor(coverage, nu)
    shared = [replace(row, share=(row.contribution / combined) ** 2 if combined else 0.0) for row in rows]
    return Budget(formula, error, shared, combined, nu, coverage, k)
