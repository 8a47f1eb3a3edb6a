"""A study at each point of a grid of one or two quantities.

Every point uses the same seed and the same names of draws, so neighbouring points share
their random numbers and a curve is smooth where the rig is (common random numbers).
"""

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import product
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.ground.errors import InputError
from gatesim.studies.engine import study
from gatesim.studies.model import Model, Ranged
from gatesim.studies.plan import Plan
from gatesim.studies.result import StudyResult
from gatesim.studies.workers import InThisProcess, place

# What a point of the grid keeps of a formula
COLUMNS = (
    "bias", "bias_error", "uncertainty", "uncertainty_error", "low", "high",
    "yield", "yield_low", "yield_high",
)  # fmt: skip


@dataclass(frozen=True)
class SweptQuantity:
    """A quantity to vary: scenario path, values in SI, and the unit to show them in."""

    path: str
    values: Array
    unit: str = ""
    logarithmic: bool = False

    KEYS: ClassVar[Keys] = {"path": "path", "unit": "unit", "values": "values", "logarithmic": None}


@dataclass(frozen=True)
class SweepResult:
    """Arrays over the grid, shape (n,) or (n1, n2); lengths in m; NaN where not reached or not read.

    ``formulas``: per formula a mapping of `COLUMNS`; "yield" is the share of trials that it reads
    while nothing went wrong, with its 95 % confidence interval; where a range of lengths
    is required, all this is of the worst one, "worst_length". ``outcome``: word of the most
    frequent outcome at each point, empty where not reached.
    """

    axes: Sequence[SweptQuantity]
    formulas: Mapping[str, Mapping[str, Array]]
    outcome: NDArray[np.object_]
    plan: Plan
    interrupted: bool

    KEYS: ClassVar[Keys] = {
        "interrupted": "interrupted",
        "trials_per_point": "trials_per_point",
        "plan": "",
        "axes": "axes",
        "formulas": "error",
        "most_frequent_outcome": "most_frequent_outcome",
        "outcome": None,
    }

    @property
    def trials_per_point(self) -> int:
        """Trials of each study."""
        return self.plan.trials

    @property
    def most_frequent_outcome(self) -> NDArray[np.object_]:
        """As ``outcome``, None where not reached."""
        words: NDArray[np.object_] = np.where(self.outcome == "", np.array(None), self.outcome)
        return words


def grid_values(low: float, high: float, count: int, logarithmic: bool) -> Array:
    """Evenly or geometrically spaced values, (count,). Raises InputError."""
    if count < 2:
        raise InputError(f"--vary: given {count} points, expected at least 2")
    if logarithmic and not (low > 0.0 and high > 0.0):
        raise InputError(f"--vary: given {low:g} to {high:g} for a log grid, expected both above zero")
    return np.geomspace(low, high, count) if logarithmic else np.linspace(low, high, count)


Figures = tuple[dict[str, tuple[float, ...]], str]


def _figures(result: StudyResult, *length: float) -> Figures:
    formulas: dict[str, tuple[float, ...]] = {
        name: (
            f.bias.value,
            f.bias.error,
            f.uncertainty.value,
            f.uncertainty.error,
            f.low.value,
            f.high.value,
            f.good.share,
            f.good.low,
            f.good.high,
            *length,
        )
        for name, f in result.formulas.items()
    }
    return formulas, max(result.outcomes, key=lambda word: result.outcomes[word].count)


def _point(model: Model, plan: Plan) -> Figures:
    lengths = model.at_lengths() if isinstance(model, Ranged) else {}
    if not lengths:
        return _figures(_whole(model, plan))
    each = replace(plan, trials=-(-plan.trials // len(lengths)))
    found = [_figures(_whole(one, each), length) for length, one in lengths.items()]
    names = dict.fromkeys(name for formulas, _ in found for name in formulas)
    worst = {name: max((f[name] for f, _ in found if name in f), key=_reach) for name in names}
    seldom = min(
        found, key=lambda f: min((row[COLUMNS.index("yield")] for row in f[0].values()), default=0.0)
    )
    return worst, seldom[1]


def _reach(row: tuple[float, ...]) -> float:
    """Bias and twice the standard uncertainty; what is not read is the worst."""
    reach = abs(row[COLUMNS.index("bias")]) + 2.0 * row[COLUMNS.index("uncertainty")]
    return math.inf if math.isnan(reach) else reach


def _whole(model: Model, plan: Plan) -> StudyResult:
    result = study(model, plan, executor=InThisProcess())
    if result.ended == "interrupted":  # half a point would look like a whole one
        raise KeyboardInterrupt
    return result


class _Grid:
    """Result arrays, filled in cell by cell."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.shape = shape
        self.done = 0
        self.formulas: dict[str, dict[str, Array]] = {}
        self.outcome: NDArray[np.object_] = np.full(shape, "", dtype=object)

    def fill(self, cell: tuple[int, ...], figures: Figures) -> None:
        formulas, self.outcome[cell] = figures
        for name, row in formulas.items():
            table = self.formulas.setdefault(name, {})
            for column, figure in zip((*COLUMNS, "worst_length"), row, strict=False):
                table.setdefault(column, np.full(self.shape, np.nan))[cell] = figure
        self.done += 1


def sweep(
    at: Callable[[Mapping[str, float]], Model],
    axes: Sequence[SweptQuantity],
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
    from tqdm import tqdm  # deferred: costs start-up time

    grid = _Grid(tuple(axis.values.size for axis in axes))
    todo = product(*(range(n) for n in grid.shape))
    flying: dict[Future[Figures], tuple[int, ...]] = {}
    total = math.prod(grid.shape)
    with (
        tqdm(total=total, unit=" points", disable=not progress) as bar,
        place(executor, workers, total * plan.blocks) as (where, window),
        suppress(KeyboardInterrupt),
    ):
        while grid.done < total:
            while len(flying) < window and (cell := next(todo, None)) is not None:
                values = {axis.path: float(axis.values[i]) for axis, i in zip(axes, cell, strict=True)}
                flying[where.submit(_point, at(values), plan)] = cell
            for future in wait(flying, return_when=FIRST_COMPLETED).done:
                grid.fill(flying.pop(future), future.result())
                bar.update()
    for future in flying:
        future.cancel()
    return SweepResult(axes, grid.formulas, grid.outcome, plan, grid.done < total)
