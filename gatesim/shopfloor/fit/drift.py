"""Change of the counts with time, and a quantity of the rig whose change explains it."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.shopfloor.fit.parameter import Parameter
from gatesim.shopfloor.fit.rows import Rows
from gatesim.shopfloor.fit.scatter import ENOUGH_REPEATS
from gatesim.shopfloor.fit.system import System, whitening


@dataclass(frozen=True)
class Drift:
    """Change of a quantity in SI units an hour, or a hundred rows, with its standard uncertainty.

    ``over_log`` from the first fitted row to the last (SI); ``rest`` the p-value of what it
    leaves of the trend, 1 where the log has one register.
    """

    name: str
    slope: float
    std: float
    p: float
    over_log: float
    rest: float


@dataclass(frozen=True)
class Trend:
    """Trend of the rows: chi-square ``statistic`` with its degrees of ``freedom``, and as single changes."""

    statistic: float
    freedom: int
    drifts: tuple[Drift, ...]


def lags(system: System, rows: Rows) -> Array:
    """Moments of the used rows (r,) from the mean of the rows they are compared with."""
    cells, used = system.cells, system.cells.row >= 0
    moment = rows.moment[used]
    if repeated(system):
        return np.asarray(moment - cells.moment[cells.row[used]])
    return np.asarray(moment - moment.mean())


def repeated(system: System) -> bool:
    """Whether rows repeat one another often enough to be compared among themselves."""
    return int((system.cells.count - 1).sum()) >= ENOUGH_REPEATS


def _white(system: System, rows: Rows, deviations: Array, counts: Array) -> tuple[Array, Array]:
    """Whitened deviations (r, 4) of the used rows' counts (n, 4), and the whitening (r, 4, 4)."""
    cells, used = system.cells, system.cells.row >= 0
    cell = cells.row[used]
    own = np.where(cells.mask[cell], counts[used], 0.0)
    if repeated(system):
        total = np.zeros(cells.mask.shape)
        np.add.at(total, cell, own)
        centre = (total / cells.count[:, None])[cell]
    else:
        expected = system.at(deviations).counts + system.offset[cells.group]
        centre = np.where(cells.mask, expected, 0.0)[cell]
    w = whitening(system.covariance[cells.group], cells.mask)[cell]
    return np.einsum("nrs,ns->nr", w, own - centre), w


def trend_of(system: System, rows: Rows, deviations: Array, counts: Array) -> Trend | None:
    """Trend of the counts (n, 4) with the rows' moments; None where all were taken at one time.

    Among rows that repeat each other, so that a log taken part after part does not show a
    misfit as a drift; against the model where none do.
    """
    lag = lags(system, rows)
    if not np.any(np.abs(lag) > 0.0):
        return None
    white, w = _white(system, rows, deviations, counts)
    per_length = w * lag[:, None, None]
    information = np.einsum("nrs,nrt->st", per_length, per_length)
    gradient = np.einsum("nrs,nr->s", per_length, white)
    seen = np.diag(information) > 0.0
    trend = np.linalg.solve(information[np.ix_(seen, seen)], gradient[seen])
    statistic, freedom = float(trend @ gradient[seen]), int(seen.sum())
    return Trend(
        statistic, freedom, _drifts(system, rows, deviations, per_length, white, (statistic, freedom))
    )


def _drifts(
    system: System,
    rows: Rows,
    deviations: Array,
    per_length: Array,
    white: Array,
    whole: tuple[float, int],
) -> tuple[Drift, ...]:
    """The trend taken as the change of each quantity alone, the one that explains most of it first."""
    from scipy.stats import chi2, norm

    cells, used = system.cells, system.cells.row >= 0
    slopes = np.where(cells.mask[:, :, None], system.at(deviations).slopes, 0.0)[cells.row[used]]
    by_quantity = np.einsum("nrs,nsk->nrk", per_length, slopes)
    span = float(np.ptp(rows.moment[used]))
    found = []
    for column, parameter in enumerate(system.forward.parameters):
        precision = float((by_quantity[:, :, column] ** 2).sum())
        if precision > 0.0 and not parameter.trend:
            slope = float((by_quantity[:, :, column] * white).sum()) / precision
            z2 = slope**2 * precision
            rest = float(chi2.sf(whole[0] - z2, whole[1] - 1)) if whole[1] > 1 else 1.0
            p = float(2.0 * norm.sf(np.sqrt(z2)))
            # what is asked for comes before what explains it hardly better
            rank = z2 + (4.0 if parameter.unknown else 0.0)
            found.append(
                (rank, Drift(parameter.name, slope, 1.0 / np.sqrt(precision), p, slope * span, rest))
            )
    return tuple(drift for _, drift in sorted(found, key=lambda pair: -pair[0]))


def change_within(system: System, rows: Rows, deviations: Array, parameter: Parameter) -> tuple[float, float]:
    """Change of a quantity in one unit of moment and its standard uncertainty, from repeated rows alone.

    What rows of different parts say of it comes from the fit. Taken to be no more than the
    size of the quantity itself over the log, where rows hardly repeat.
    """
    span = float(np.ptp(rows.moment[system.cells.row >= 0]))
    broad = parameter.size / span if span else parameter.size
    precision, gradient = broad**-2.0, 0.0
    if repeated(system) and span:
        lag = lags(system, rows)
        white, w = _white(system, rows, deviations, rows.counts)
        column = [p.name for p in system.forward.parameters].index(parameter.name)
        slopes = np.where(system.cells.mask, system.at(deviations).slopes[:, :, column], 0.0)
        cell = system.cells.row[system.cells.row >= 0]
        per_length = np.einsum("nrs,ns->nr", w, slopes[cell]) * lag[:, None]
        precision += float((per_length**2).sum())
        gradient = float((per_length * white).sum())
    return gradient / precision, precision**-0.5
