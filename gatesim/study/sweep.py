"""A study at each point of a grid of one or two quantities.

Every point uses the same seed and the same names of draws, so neighbouring points share
their random numbers and a curve is smooth where the rig is (common random numbers).
"""

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from dataclasses import dataclass
from itertools import product

import numpy as np

from gatesim.draw import Array
from gatesim.outcome import Outcome
from gatesim.problem import InputError
from gatesim.study.engine import InThisProcess, ctrl_c_waits, pool, study, usable_cores
from gatesim.study.model import Model
from gatesim.study.plan import Plan
from gatesim.study.result import StudyResult

# What a point of the grid keeps of a formula, and of the study as a whole
COLUMNS = ("bias", "bias_error", "uncertainty", "uncertainty_error", "low", "high")
YIELD = ("yield", "yield_low", "yield_high")


@dataclass(frozen=True)
class Axis:
    """A quantity to vary: scenario path, values in SI, and the unit to show them in."""

    path: str
    values: Array
    unit: str = ""
    logarithmic: bool = False


@dataclass(frozen=True)
class SweepResult:
    """Arrays over the grid, shape (n,) or (n1, n2); lengths in m; NaN where not reached or not read.

    ``formulas``: per formula a mapping of `COLUMNS`. ``yields``: mapping of `YIELD`, the share
    of trials in which nothing went wrong, with its 95 % confidence interval.
    """

    axes: Sequence[Axis]
    formulas: Mapping[str, Mapping[str, Array]]
    yields: Mapping[str, Array]
    plan: Plan
    interrupted: bool


def grid_values(low: float, high: float, count: int, logarithmic: bool) -> Array:
    """Evenly or geometrically spaced values, (count,). Raises InputError."""
    if count < 2:
        raise InputError(f"--vary: given {count} points, expected at least 2")
    if logarithmic and not (low > 0.0 and high > 0.0):
        raise InputError(f"--vary: given {low:g} to {high:g} for a log grid, expected both above zero")
    return np.geomspace(low, high, count) if logarithmic else np.linspace(low, high, count)


def _figures(result: StudyResult) -> tuple[dict[str, tuple[float, ...]], tuple[float, ...]]:
    formulas = {
        name: (
            f.bias.value,
            f.bias.error,
            f.uncertainty.value,
            f.uncertainty.error,
            f.low.value,
            f.high.value,
        )
        for name, f in result.formulas.items()
    }
    good = result.outcomes.get(Outcome.MEASURED.word)
    if good is None:
        from gatesim.study.result import share

        good = share(0, result.trials)
    return formulas, (good.share, good.low, good.high)


def _point(model: Model, plan: Plan) -> tuple[dict[str, tuple[float, ...]], tuple[float, ...]]:
    return _figures(study(model, plan, executor=InThisProcess()))


def sweep(
    at: Callable[[Mapping[str, float]], Model],
    axes: Sequence[Axis],
    plan: Plan,
    executor: Executor | None = None,
    workers: int | None = None,
    progress: bool = False,
) -> SweepResult:
    """Study the model at every point of the grid spanned by one or two axes.

    ``at`` makes the model whose quantities have the given values (path -> SI). Ctrl-C ends the
    sweep early; points not reached are NaN. Raises InputError for other than one or two axes.
    """
    if len(axes) not in (1, 2):
        raise InputError(f"--vary: given {len(axes)} quantities, expected one or two")
    if executor is not None:
        return _sweep_on(executor, 64, at, axes, plan, progress)
    cores = workers or usable_cores()
    with pool(cores) as own:
        return _sweep_on(own, 2 * cores, at, axes, plan, progress)


def _sweep_on(
    executor: Executor,
    window: int,
    at: Callable[[Mapping[str, float]], Model],
    axes: Sequence[Axis],
    plan: Plan,
    progress: bool,
) -> SweepResult:
    from tqdm import tqdm  # deferred: costs start-up time

    shape = tuple(axis.values.size for axis in axes)
    formulas: dict[str, dict[str, Array]] = {}
    yields = {column: np.full(shape, np.nan) for column in YIELD}
    todo = iter(product(*(range(n) for n in shape)))
    flying: dict[Future[tuple[dict[str, tuple[float, ...]], tuple[float, ...]]], tuple[int, ...]] = {}
    done = 0
    with ctrl_c_waits() as stop, tqdm(total=math.prod(shape), unit=" points", disable=not progress) as bar:
        while not stop.is_set():
            while len(flying) < window and (cell := next(todo, None)) is not None:
                values = {axis.path: float(axis.values[i]) for axis, i in zip(axes, cell, strict=True)}
                flying[executor.submit(_point, at(values), plan)] = cell
            if not flying:
                break
            for future in wait(flying, return_when=FIRST_COMPLETED).done:
                cell = flying.pop(future)
                found, good = future.result()
                for name, figures in found.items():
                    if name not in formulas:
                        formulas[name] = {column: np.full(shape, np.nan) for column in COLUMNS}
                    for column, figure in zip(COLUMNS, figures, strict=True):
                        formulas[name][column][cell] = figure
                for column, figure in zip(YIELD, good, strict=True):
                    yields[column][cell] = figure
                done += 1
                bar.update()
    for future in flying:
        future.cancel()
    return SweepResult(axes, formulas, yields, plan, done < math.prod(shape))
