"""First-order and total Sobol indices of everything that is drawn: inputs and noises alike."""

import math
from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.ground.draw import Draw, Joined
from gatesim.ground.errors import InputError
from gatesim.studies.draws import Quasi, Recorder, Renamed, Swapped, assign_dimensions, names_drawn
from gatesim.studies.model import Model, Run, run_each
from gatesim.studies.plan import BLOCK
from gatesim.studies.workers import place

SET = 4096  # trials in a set of draws, over all replicates
AT_ONCE = 4096  # trials of a set worked on together, where a replicate has fewer
REPLICATES = 8  # independently scrambled sets, whose scatter gives the error


@dataclass(frozen=True)
class Index:
    """Share of the variance of the error due to one draw alone, and with all its interactions.

    ``*_error``: standard error of the estimate.
    """

    name: str
    first: float
    first_error: float
    total: float
    total_error: float


@dataclass(frozen=True)
class Indices:
    """Indices of one formula by falling total; ``read`` is the share of trials they rest on."""

    formula: str
    indices: Sequence[Index]
    read: float

    KEYS: ClassVar[Keys] = {"indices": "sobol_indices", "read": "share_of_trials_read", "formula": None}


def _sets(model: Model, formula: str, source: Draw, expected: Collection[str]) -> tuple[list[str], Array]:
    """Names drawn (d,); errors with the draws of A, of B, and of A with each name from B: (2 + d, n).

    ``expected``: names that are drawn as a rule; what else turns up is found all the same.
    """
    first, second = Recorder(source), Renamed(source, "b:")

    def errors(draws: Sequence[Draw]) -> list[Array]:
        found = run_each([Run(model, draw) for draw in draws])
        return [np.broadcast_to(each.errors()[formula], (source.trials,)) for each in found]

    f_a, f_b, *swapped = errors([first, second, *(Swapped(source, second, name) for name in expected)])
    of = dict(zip(expected, swapped, strict=True))
    more = [name for name in first.used if name not in of]
    of.update(zip(more, errors([Swapped(source, second, name) for name in more]), strict=True))
    names = list(first.used)
    return names, np.vstack([f_a, f_b, *(of[name] for name in names)])


def _estimate(formula: str, errors: Array) -> NDArray[np.float64]:
    """First-order and total indices, (2, d), from the trials that are read in every set."""
    from scipy.stats import sobol_indices as estimate  # deferred: costs start-up time

    rows = np.flatnonzero(~np.isnan(errors).any(axis=0))
    rows = rows[: 1 << max(rows.size.bit_length() - 1, 0)]  # the estimator wants a power of two
    if rows.size < 16:
        raise InputError(
            f"sensitivity of {formula}: too few trials give a reading, expected at least one in ten"
        )
    chosen = errors[:, rows]
    if not np.ptp(chosen[:2]) > 0.0:
        raise InputError(
            f"sensitivity of {formula}: the error does not vary, expected an input with a spread"
        )
    swapped = chosen[2:, None, :]
    if len(swapped) == 1:  # the estimator's array of indices would shrink to a scalar: a twin keeps it one
        swapped = np.repeat(swapped, 2, axis=0)
    result = estimate(func={"f_A": chosen[:1], "f_B": chosen[1:2], "f_AB": swapped}, n=rows.size)
    return np.vstack([result.first_order, result.total_order])[:, : len(chosen) - 2]


def _replicates(
    model: Model,
    formula: str,
    n: int,
    dimensions: Mapping[str, tuple[int, int]],
    expected: tuple[str, ...],
    seed: int,
    numbers: Sequence[int],
) -> list[tuple[dict[str, Array], float]]:
    """Of each independently scrambled set its indices by name, (2,) each, and the share of trials read."""
    source = Joined(tuple(Quasi(seed, number, n, dimensions) for number in numbers))
    names, errors = _sets(model, formula, source, expected)
    return [
        (
            dict(zip(names, _estimate(formula, own).T, strict=True)),
            float(np.mean(~np.isnan(own).any(axis=0))),
        )
        for own in np.split(errors, len(numbers), axis=1)
    ]


def sobol_indices(
    model: Model,
    formula: str,
    trials: int = SET,
    seed: int = 1,
    executor: Executor | None = None,
    workers: int | None = None,
) -> Indices:
    """Sobol indices by the estimators of Saltelli et al. (2010), as `scipy.stats.sobol_indices` has them.

    Two independent sets of draws A and B; each draw in turn is taken from B. ``trials`` is the
    size of a set over all replicates; the model runs once more per draw. Trials that give no
    reading in one of the sets are left out. ``executor`` and ``workers`` as in
    `gatesim.studies.engine.study`. Raises InputError if hardly any trial is read.
    """
    n = 1 << max(round(math.log2(max(trials, 1) / REPLICATES)), 8)
    drawn = names_drawn(model)
    task = partial(_replicates, model, formula, n, assign_dimensions(drawn, sets=2), tuple(drawn), seed)
    blocks = REPLICATES * n * (2 + len(drawn)) // BLOCK
    with place(executor, workers, blocks) as (where, _):
        some = max(min(AT_ONCE // n, REPLICATES), 1)
        groups = [range(i, min(i + some, REPLICATES)) for i in range(0, REPLICATES, some)]
        found = [replicate for group in where.map(task, groups) for replicate in group]
    # a name that is drawn by chance only may turn up in some replicates and not in others
    names = list(dict.fromkeys(name for estimates, _ in found for name in estimates))
    table = np.array([[e.get(name, np.zeros(2)) for name in names] for e, _ in found])  # (replicates, d, 2)
    mean, error = table.mean(axis=0), table.std(axis=0, ddof=1) / math.sqrt(REPLICATES)
    indices = [
        Index(name, float(m[0]), float(e[0]), float(m[1]), float(e[1]))
        for name, m, e in zip(names, mean, error, strict=True)
    ]
    read = float(np.mean([share for _, share in found]))
    return Indices(formula, sorted(indices, key=lambda index: -index.total), read)
