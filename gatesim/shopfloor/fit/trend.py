"""Quantities that change steadily over a log, as part of the model."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.errors import InputError
from gatesim.shopfloor.fit.drift import change_within
from gatesim.shopfloor.fit.parameter import Parameter
from gatesim.shopfloor.fit.rows import Rows
from gatesim.shopfloor.fit.system import System


def with_trends(system: System, rows: Rows, deviations: Array, names: Sequence[str]) -> tuple[System, Array]:
    """The system with a steady change of each named quantity, and deviations (k,) to begin with.

    A change is a further parameter. What rows that repeat each other say of it is its prior,
    what the means of their cells say comes by their mean moment: the two do not depend on
    each other, so that together they are the fit of every row by itself. Raises InputError for
    a quantity that is not fitted.
    """
    plain = tuple(p for p in system.forward.parameters if not p.trend)
    at = deviations[: len(plain)]
    by_name = {p.name: p for p in plain}
    added = []
    for name in names:
        if name not in by_name:
            known = ", ".join(by_name)
            raise InputError(
                f"--trend: given {name!r}, expected one of the quantities that are fitted: {known}"
            )
        slope, std = change_within(system, rows, deviations, by_name[name])
        added.append(_trend(by_name[name], rows.per, slope, std))
    forward = replace(system.forward, parameters=(*plain, *added))
    return replace(system, forward=forward), np.concatenate([at, np.zeros(len(added))])


def _trend(parameter: Parameter, per: str, slope: float, std: float) -> Parameter:
    return replace(
        parameter,
        name=f"{parameter.name} per {per}",
        nominal=slope,
        prior=std,
        step=1e-2 * std,
        trend=True,
    )


def detrended(system: System, rows: Rows, deviations: Array) -> Array:
    """Counts (n, 4) as they would have been at the mean moment of each row's cell."""
    cells, forward = system.cells, system.forward
    used = np.flatnonzero(cells.row >= 0)
    if not any(p.trend for p in forward.parameters):
        return rows.counts
    cell = cells.row[used]
    lengths = system.lengths(deviations)[cells.group[cell]]
    at = np.broadcast_to(deviations, (len(used), len(deviations)))
    then = forward.expected(at, lengths, moments=rows.moment[used])
    middle = forward.expected(at, lengths, moments=cells.moment[cell])
    counts = rows.counts.copy()
    counts[used] -= then - middle
    return counts
