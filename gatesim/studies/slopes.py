"""How the error of a reading depends on each input and each noise, near the nominal values."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.distribution import StudentT
from gatesim.ground.draw import Draw, Kind, Nominal, Streams
from gatesim.ground.errors import InputError
from gatesim.ground.level import Level
from gatesim.ground.quantity import Quantity
from gatesim.studies.draws import Swapped, names_drawn
from gatesim.studies.model import WORDS, Model, Trials

UNIFORM_STD = 1.0 / math.sqrt(12.0)

FIRST_STEPS = (0.0, 0.5, -0.5, 1.0, -1.0, 0.25, -0.25, 0.125, -0.125, 0.0625, -0.0625, 0.03125, -0.03125)
"""What a derivative of order 8 takes first, the steps being halved; the second is its largest."""


@dataclass(frozen=True)
class Slopes:
    """Along every axis (k,), in m per standard uncertainty.

    ``secant`` marks axes whose derivative does not settle, where ``slope`` is the one between
    minus and plus u. ``straight`` marks axes along which the error is a straight line, to a tenth.
    """

    slope: Array
    curvature: Array
    secant: NDArray[np.bool_]
    straight: NDArray[np.bool_]


@dataclass(frozen=True)
class Component:
    """A component of uncertainty to differentiate by: an input, or one column of a draw of the chain."""

    name: str
    value: float
    u: float
    distribution: str
    degrees_of_freedom: float
    unit: str
    kind: str  # "input", "uniform" or "normal"
    column: int | None = None
    per: Level = "passage"


@dataclass(frozen=True)
class Probe(Draw):
    """Draws and values at their medians, but for one axis in each of n trials.

    Trial i moves along axis ``index[i]`` by ``steps[i]`` standard uncertainties.
    """

    axes: Sequence[Component]
    index: NDArray[np.int64]
    steps: Array

    @property
    def trials(self) -> int:
        """Number of trials."""
        return self.steps.size

    def _moved(self, base: Array, name: str) -> Array:
        for number, axis in enumerate(self.axes):
            if axis.kind != "input" and axis.name == name:
                rows = self.index == number
                at = rows if axis.column is None else (rows, axis.column)
                base[at] += axis.u * self.steps[rows]
        return base

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        return self._moved(Nominal(self.trials).drawn(kind, name, columns), name)

    def values(self, inputs: Mapping[str, Quantity]) -> dict[str, Scalar]:
        """Values of the inputs, (n,) each."""
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


def axes_of(model: Model) -> list[Component]:
    """All directions of a model: its inputs that spread, and each column of the noises it draws."""
    axes = []
    for path, q in model.inputs.items():
        if q.spread is not None:
            u, nu = standard_uncertainty(q), q.spread.degrees_of_freedom
            per = q.per or "passage"
            axes.append(Component(path, q.nominal, u, q.spread.word, nu, q.unit, "input", per=per))
    for name, (kind, columns) in names_drawn(model, quantised=False).items():
        if name in model.inputs:
            continue
        median, u = (0.5, UNIFORM_STD) if kind == "uniform" else (0.0, 1.0)
        word = "rectangular" if kind == "uniform" else "normal"
        for column in [None] if columns is None else range(columns):
            axes.append(Component(name, median, u, word, math.inf, "", kind, column))
    return axes


class ErrorFunction:
    """Error of one formula as a function of steps along the axes."""

    def __init__(self, model: Model, formula: str) -> None:
        self.model, self.formula, self.axes = model, formula, axes_of(model)
        self._known: dict[tuple[float, int], float] = {}

    def trials(self, steps: Array, index: NDArray[np.int64]) -> Trials:
        """Evaluate n points, ``steps`` (n,) standard uncertainties along the axes ``index`` (n,)."""
        probe = Probe(self.axes, index, steps)
        return self.model.evaluate(probe.values(self.model.inputs), probe, quantised=False)

    def __call__(self, steps: Array, index: NDArray[np.int64]) -> Array:
        """Error in m at these points, any shape, NaN where there is no reading; each is evaluated once."""
        flat, which = np.ravel(steps), np.ravel(np.broadcast_to(index, np.shape(steps)))
        points = list(zip(flat.tolist(), which.tolist(), strict=True))
        new = list(dict.fromkeys(point for point in points if point not in self._known))
        if new:
            found = self.trials(np.array([step for step, _ in new]), np.array([axis for _, axis in new]))
            self._known.update(zip(new, found.errors()[self.formula].tolist(), strict=True))
        return np.array([self._known[point] for point in points]).reshape(np.shape(steps))

    def nominal(self) -> float:
        """Error at the nominal values. Raises InputError if there is no reading."""
        found = self.trials(np.zeros(1), np.zeros(1, np.int64))
        error = float(found.errors()[self.formula][0])
        if math.isnan(error):
            word = WORDS[int(found.outcome[0])]
            raise InputError(
                f"budget of {self.formula}: the nominal part gives no reading ({word}), so there is "
                "nothing to differentiate; expected a rig that reads its nominal part"
            )
        return error

    def slopes(self) -> "Slopes":
        """Differentiate along every axis."""
        from scipy.differentiate import derivative  # deferred: costs start-up time

        index = np.arange(len(self.axes))
        self(np.repeat(FIRST_STEPS, index.size), np.tile(index, len(FIRST_STEPS)))  # all in one run
        up, down = self(np.ones(index.size), index), self(-np.ones(index.size), index)
        secant, curvature = (up - down) / 2.0, (up + down) / 2.0 - self.nominal()
        largest = float(np.nanmax(np.abs(secant), initial=0.0))
        # all probes stay within u/2 of nominal, where the part is most surely read
        found = derivative(
            self,
            np.zeros(index.size),
            args=(index,),
            initial_step=FIRST_STEPS[1],
            order=8,
            tolerances={"atol": 1e-9 * largest, "rtol": 1e-9},
        )
        # rounding may stop the refinement early; what counts is the error that is left
        smooth = np.isfinite(found.df) & (found.error <= 1e-4 * largest)
        slope = np.where(smooth, found.df, secant)
        bend = np.maximum(np.abs(slope - secant), np.abs(curvature))
        straight = smooth & ~(bend > 0.1 * np.abs(secant) + 1e-6 * largest)
        return Slopes(slope, curvature, ~smooth & (secant != 0.0), straight)

    def alone(self, name: str, seed: int, trials: int) -> Array:
        """Errors (trials,) when only the noise ``name`` is drawn and all else is nominal."""
        draw = Swapped(Nominal(trials), Streams(seed, 0, trials), name)
        values: dict[str, Scalar] = {path: q.nominal for path, q in self.model.inputs.items()}
        found = self.model.evaluate(values, draw, quantised=False)
        return np.broadcast_to(found.errors()[self.formula], (trials,))
