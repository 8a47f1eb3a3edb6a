"""Uncertainty budget by the law of propagation (JCGM 100:2008, clause 5).

The measured quantity is the error of the reading, reading minus true length. It is
differentiated with the counter left unrounded, because counting makes a staircase
whose slope is zero or infinite. Each input, and each noise the chain draws by itself
(jitter, phases), is a row; the rounding to whole counts is a row of its own.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gatesim.distribution import StudentT
from gatesim.draw import Array, Nominal, Streams
from gatesim.problem import InputError
from gatesim.quantity import Quantity, Scalar
from gatesim.study.draws import names_drawn
from gatesim.study.model import WORDS, Model, Trials, run

COUNTING = "rounding to whole counts"
COUNTING_TRIALS = 20_000
NEGLIGIBLE = 1e-9  # of the combined standard uncertainty
UNIFORM_STD = 1.0 / math.sqrt(12.0)


@dataclass(frozen=True)
class Row:
    """One line of the budget; all in SI.

    ``sensitivity``: derivative of the error by the quantity; ``contribution`` = sensitivity
    times u, in m, NaN if the part is no longer read within one u of the nominal value.
    ``curvature``: how far the mean of the errors at plus and minus u is from the nominal
    error, in m: it is 0 for a linear model. ``secant`` tells that the derivative did not
    converge (a kink), and the slope between minus and plus u stands in its place
    (JCGM 100, 5.1.3, note 2).
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

    def matters(self, combined: float) -> bool:
        """Whether it has any influence beyond the rounding of floating-point numbers."""
        return math.isnan(self.contribution) or abs(self.contribution) > NEGLIGIBLE * combined

    def share(self, combined: float) -> float:
        """Part of the combined variance, 0 to 1."""
        return (self.contribution / combined) ** 2 if combined else 0.0


@dataclass(frozen=True)
class Budget:
    """Budget of one formula: rows by falling contribution, and their sum.

    ``error``: at the nominal values, with the mean effect of counting, in m.
    """

    formula: str
    error: float
    rows: Sequence[Row]
    combined: float
    effective_degrees_of_freedom: float
    coverage: float
    coverage_factor: float

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = k u_c (JCGM 100, clause 6)."""
        return self.coverage_factor * self.combined

    @property
    def interval(self) -> tuple[float, float]:
        """Coverage interval of the error, error at nominal values plus and minus U."""
        return self.error - self.expanded, self.error + self.expanded


@dataclass(frozen=True)
class _Axis:
    """One direction of differentiation: an input, or one column of a standard draw of the chain."""

    name: str
    value: float
    u: float
    distribution: str
    degrees_of_freedom: float
    unit: str
    kind: str  # "input", "uniform" or "normal"
    column: int | None = None


@dataclass(frozen=True)
class _Probe:
    """Medians, except that trial i moves along axis ``index[i]`` by ``steps[i]`` standard uncertainties."""

    axes: Sequence[_Axis]
    index: NDArray[np.int64]
    steps: Array

    @property
    def trials(self) -> int:
        return self.steps.size

    def _moved(self, base: Array, name: str) -> Array:
        for number, axis in enumerate(self.axes):
            if axis.kind != "input" and axis.name == name:
                rows = self.index == number
                at = rows if axis.column is None else (rows, axis.column)
                base[at] += axis.u * self.steps[rows]
        return base

    def uniform(self, name: str, columns: int | None = None) -> Array:
        return self._moved(Nominal(self.trials).uniform(name, columns), name)

    def normal(self, name: str, columns: int | None = None) -> Array:
        return self._moved(Nominal(self.trials).normal(name, columns), name)

    def values(self, inputs: Mapping[str, Quantity]) -> dict[str, Scalar]:
        values: dict[str, Scalar] = {path: q.nominal for path, q in inputs.items()}
        for number, axis in enumerate(self.axes):
            if axis.kind == "input":
                values[axis.name] = axis.value + axis.u * np.where(self.index == number, self.steps, 0.0)
        return values


def standard_uncertainty(quantity: Quantity) -> float:
    """Standard uncertainty of JCGM 100: s/sqrt(n) for few indications, not the wider std of the t.

    The law of propagation accounts for few indications by the degrees of freedom instead.
    """
    return quantity.spread.scale if isinstance(quantity.spread, StudentT) else quantity.std


def _axes(model: Model) -> list[_Axis]:
    axes = []
    for path, q in model.inputs.items():
        if q.spread is not None:
            u, nu = standard_uncertainty(q), q.spread.degrees_of_freedom
            axes.append(_Axis(path, q.nominal, u, q.spread.word, nu, q.unit, "input"))
    for name, (kind, columns) in names_drawn(model).items():
        if name in model.inputs:
            continue
        median, u = (0.5, UNIFORM_STD) if kind == "uniform" else (0.0, 1.0)
        word = "rectangular" if kind == "uniform" else "normal"
        for column in [None] if columns is None else range(columns):
            axes.append(_Axis(name, median, u, word, math.inf, "", kind, column))
    return axes


class _Slope:
    """Error of one formula as a function of steps along the axes."""

    def __init__(self, model: Model, formula: str) -> None:
        self.model, self.formula, self.axes = model, formula, _axes(model)

    def trials(self, steps: Array, index: NDArray[np.int64]) -> Trials:
        probe = _Probe(self.axes, index, steps)
        return self.model.evaluate(probe.values(self.model.inputs), probe, quantised=False)

    def __call__(self, steps: Array, index: NDArray[np.int64]) -> Array:
        flat, which = np.ravel(steps), np.ravel(np.broadcast_to(index, np.shape(steps)))
        return self.trials(flat, which).errors()[self.formula].reshape(np.shape(steps))

    def derivatives(self) -> tuple[float, Array, Array, NDArray[np.bool_]]:
        """Error at nominal, slopes per u (k,), curvatures (k,), where the secant stands in (k,)."""
        from scipy.differentiate import derivative  # deferred: costs start-up time

        index = np.arange(len(self.axes))
        nominal = self.trials(np.zeros(1), np.zeros(1, np.int64))
        error = float(nominal.errors()[self.formula][0])
        if math.isnan(error):
            word = WORDS[int(nominal.outcome[0])]
            raise InputError(
                f"budget of {self.formula}: the nominal part gives no reading ({word}), so there is "
                "nothing to differentiate; expected a rig that reads its nominal part"
            )
        up, down = self(np.ones(index.size), index), self(-np.ones(index.size), index)
        secant, curvature = (up - down) / 2.0, (up + down) / 2.0 - error
        largest = float(np.nanmax(np.abs(secant), initial=0.0))
        # all probes stay within u/2 of nominal, where the part is most surely read
        found = derivative(
            self,
            np.zeros(index.size),
            args=(index,),
            initial_step=0.5,
            order=8,
            tolerances={"atol": 1e-9 * largest, "rtol": 1e-9},
        )
        # rounding may stop the refinement early; what counts is the error that is left
        smooth = np.isfinite(found.df) & (found.error <= 1e-4 * largest)
        return error, np.where(smooth, found.df, secant), curvature, ~smooth & (secant != 0.0)


def _rows(axes: Sequence[_Axis], slope: Array, curvature: Array, secant: NDArray[np.bool_]) -> list[Row]:
    rows: dict[str, Row] = {}
    for a, c, bend, kink in zip(axes, slope, curvature, secant, strict=True):
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


def _counting(model: Model, formula: str, seed: int) -> Row | None:
    """Rounding to whole counts: its scatter over the rig's own spread, by common random numbers.

    None if the model does not round. Averaged over a spread of many counts it comes to the
    textbook values; a rig steadier than one count shows its own.
    """
    draw = Streams(seed, 0, COUNTING_TRIALS)
    rounded = run(model, draw).errors()[formula]
    shift = rounded - run(model, draw, quantised=False).errors()[formula]
    shift = shift[~np.isnan(shift)]
    if shift.size < 2 or not shift.any():
        return None
    u = float(np.std(shift, ddof=1))
    return Row(COUNTING, float(np.mean(shift)), u, "simulated", math.inf, 1.0, u, 0.0, False)


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
    slope = _Slope(model, formula)
    error, slopes, curvature, secant = slope.derivatives()
    rows = _rows(slope.axes, slopes, curvature, secant)
    counting = _counting(model, formula, seed)
    if counting is not None:
        rows.append(counting)
        error += counting.value
    rows.sort(key=lambda row: -abs(row.contribution) if not math.isnan(row.contribution) else -math.inf)
    combined = math.sqrt(sum(row.contribution**2 for row in rows))
    nu = effective_degrees_of_freedom(rows, combined)
    k = math.nan if math.isnan(combined) else coverage_factor(coverage, nu)
    return Budget(formula, error, rows, combined, nu, coverage, k)
