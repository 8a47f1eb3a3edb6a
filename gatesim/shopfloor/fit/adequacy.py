"""Does the fitted model describe the log: outliers, lack of fit, scatter, drift."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.shopfloor.fit.noise import fraction_slack
from gatesim.shopfloor.fit.rows import Cells, Mask, Rows, matching
from gatesim.shopfloor.fit.system import whitening

OUTLIER_RATE = 0.05  # chance that a log without outliers has a row set apart
MOST_OUTLIERS = 0.1  # more is no matter of single rows
ENOUGH_TO_CENTRE = 5
LEVEL = 0.01  # false-alarm rate of each test


@dataclass(frozen=True)
class Test:
    """A statistic, its degrees of freedom (the second 0 where there is one only), p-value."""

    name: str
    statistic: float
    freedom: tuple[float, float]
    p: float

    @property
    def significant(self) -> bool:
        """Whether it is beyond its `LEVEL`."""
        return self.p < LEVEL


@dataclass(frozen=True)
class Drift:
    """Change of an unknown with time: SI units a second, or a row where the log has no times."""

    name: str
    slope: float
    std: float
    p: float


@dataclass(frozen=True)
class Adequacy:
    """Tests of a fit; None where the log does not allow one.

    ``misfit``: means of repeated rows against the model, by the stated scatter.
    ``lack_of_fit``: the same by the scatter of the repeated rows themselves. ``scatter``:
    that scatter against the stated one, ``scatter_ratio`` of standard deviations.
    ``drift``: trend of the residuals; ``drifts`` the same taken as a change of each unknown.
    """

    misfit: Test | None
    lack_of_fit: Test | None
    scatter: Test | None
    scatter_ratio: float
    drift: Test | None
    drifts: tuple[Drift, ...]
    drift_per: str

    @property
    def describes(self) -> bool:
        """Whether the model describes the log as far as can be told."""
        if self.misfit is None or not self.misfit.significant:
            return True
        return self.lack_of_fit is not None and not self.lack_of_fit.significant


@dataclass(frozen=True)
class Outlying:
    """Rows (n,) set apart, rows that are suspect but too many for that, squared distances, their limit."""

    outliers: Mask
    suspects: Mask
    distance: Array
    limit: float

    def joined(self, other: "Outlying") -> "Outlying":
        """These rows and those of another test."""
        distance = np.where(np.isnan(self.distance), other.distance, self.distance)
        limit = max(self.limit, other.limit)
        return Outlying(self.outliers | other.outliers, self.suspects | other.suspects, distance, limit)


def outlying(rows: Rows, tested: Mask, cells: Cells, covariance: Array, expected: Array) -> Outlying:
    """Find the rows among those ``tested`` (n,) that do not belong.

    The distance of a row, in standard uncertainties, is taken from the median of the rows
    like it where there are five or more, so that a wrong model makes no outliers, and from
    the model (``expected`` (c, 4)) elsewhere. The limit is the chi-square quantile at which
    a log without outliers has one in `OUTLIER_RATE` of all logs (Bonferroni). More than a
    tenth of the rows is no matter of single rows: then none is set apart.
    """
    from scipy.stats import chi2

    cell = matching(rows, cells)
    tested = tested & (cell >= 0)
    many = cells.count >= ENOUGH_TO_CENTRE
    centre = np.where(many[:, None], cells.median, expected)
    # variance of a median, pi/2 times that of a mean, comes on top where one is the centre
    widening = np.where(many, 1.0 + 0.5 * np.pi / cells.count, 1.0)
    w = whitening(covariance[cells.group], cells.mask)
    error = np.where(cells.mask[cell], rows.counts - centre[cell], 0.0)
    squared = (np.einsum("nrs,ns->nr", w[cell], error) ** 2).sum(axis=1) / widening[cell]
    squared = squared / _slack(cells, covariance)[1]
    share = OUTLIER_RATE / max(int(tested.sum()), 1)
    limits = chi2.isf(share, cells.mask.sum(axis=1))[cell]
    flagged = tested & (squared > limits)
    many_rows = int(flagged.sum()) > max(1.0, MOST_OUTLIERS * int(tested.sum()))
    limit = float(limits[tested].max(initial=0.0))
    return Outlying(flagged & (not many_rows), flagged & many_rows, np.where(tested, squared, np.nan), limit)


def _slack(cells: Cells, covariance: Array) -> tuple[float, float]:
    """See `fraction_slack`, for the registers that are logged."""
    seen = cells.mask.any(axis=0)
    return fraction_slack(covariance[np.unique(cells.group)][:, seen][:, :, seen])


def _pure_error(rows: Rows, cells: Cells, covariance: Array) -> tuple[float, float, float]:
    """Sum of squares within the cells, its degrees of freedom, and how much wider than normal it scatters."""
    used = cells.row >= 0
    cell = cells.row[used]
    w = whitening(covariance[cells.group], cells.mask)
    error = np.where(cells.mask[cell], rows.counts[used] - cells.mean[cell], 0.0)
    squared = (np.einsum("nrs,ns->nr", w[cell], error) ** 2).sum(axis=1)
    repeated = cells.count[cell] > 1
    freedom = float(((cells.count - 1) * cells.mask.sum(axis=1)).sum())
    if freedom == 0.0:
        return 0.0, 0.0, 1.0
    one = squared[repeated]
    registers = cells.mask.sum(axis=1)[cell][repeated].mean()
    relative = float(one.var() / one.mean() ** 2) if one.any() else 0.0
    # whole counts are not normal: with little jitter nearly all are equal and few differ by one
    return float(one.sum()), freedom, max(1.0, relative * float(registers) / 2.0)


def judge(
    rows: Rows,
    cells: Cells,
    covariance: Array,
    expected: Array,
    misfit: float,
    freedom: int,
    slopes: Array,
    names: tuple[str, ...],
) -> Adequacy:
    """Test the fit whose cells have the sum of squares ``misfit`` with so many degrees of ``freedom``.

    ``expected`` (c, 4) counts and ``slopes`` (c, 4, u) of them by each unknown.
    """
    from scipy.stats import chi2, f

    within, repeats, width = _pure_error(rows, cells, covariance)
    scatter = lack = None
    ratio = np.sqrt(within / repeats) if repeats else np.nan
    least, most = _slack(cells, covariance)
    if repeats:
        # with next to no jitter counts just above a whole number may all be equal: nothing is too little
        too_little = float(chi2.cdf(within / width / least, repeats / width)) if least > 0.05 else 1.0
        too_much = float(chi2.sf(within / width / most, repeats / width))
        tails = (too_little, too_much)
        p = min(1.0, 2.0 * min(tails))
        scatter = Test("scatter of repeated rows", within / repeats, (repeats, 0), p)
    chi = (
        Test("misfit", misfit / freedom, (freedom, 0), float(chi2.sf(misfit / most, freedom)))
        if freedom > 0
        else None
    )
    if chi is not None and repeats >= 10 and within > 0.0:
        quotient = chi.statistic / (within / repeats)
        lack = Test("lack of fit", quotient, (freedom, repeats), float(f.sf(quotient, freedom, repeats)))
    inflation = max(1.0, float(ratio**2)) if repeats >= 10 else 1.0
    drift, drifts, per = _drift(rows, cells, covariance * inflation, expected, slopes, names)
    return Adequacy(chi, lack, scatter, float(ratio), drift, drifts, per)


def _drift(
    rows: Rows, cells: Cells, covariance: Array, expected: Array, slopes: Array, names: tuple[str, ...]
) -> tuple[Test | None, tuple[Drift, ...], str]:
    """Trend of the rows against time, or against their order.

    Within cells where rows repeat, so that a log taken part after part does not show a
    misfit as a drift; against the model where none do.
    """
    from scipy.stats import chi2

    used = cells.row >= 0
    cell = cells.row[used]
    timed = bool(np.isfinite(rows.time[used]).all())
    time = rows.time[used] if timed else np.arange(len(used), dtype=float)[used]
    repeats = int((cells.count - 1).sum()) >= 10
    centre = cells.mean if repeats else expected
    middle = np.bincount(cell, time) / cells.count if repeats else np.full(len(cells.count), time.mean())
    lag = time - middle[cell]
    if not np.any(np.abs(lag) > 0.0):
        return None, (), ""
    lag = lag / np.abs(lag).max()
    w = whitening(covariance[cells.group], cells.mask)[cell]
    error = np.where(cells.mask[cell], rows.counts[used] - centre[cell], 0.0)
    white = np.einsum("nrs,ns->nr", w, error)
    lever = w * lag[:, None, None]
    information = np.einsum("nrs,nrt->st", lever, lever)
    pull = np.einsum("nrs,nr->s", lever, white)
    seen = np.diag(information) > 0.0
    trend = np.linalg.solve(information[np.ix_(seen, seen)], pull[seen])
    statistic, freedom = float(trend @ pull[seen]), int(seen.sum())
    test = Test("drift", statistic / freedom, (freedom, 0), float(chi2.sf(statistic, freedom)))
    scale = np.abs(time - middle[cell]).max()
    by_unknown = np.einsum("nrs,nsu->nru", lever, np.where(cells.mask[cell][:, :, None], slopes[cell], 0.0))
    return test, _drifts(by_unknown, white, names, scale), "s" if timed else "row"


def _drifts(lever: Array, white: Array, names: tuple[str, ...], scale: float) -> tuple[Drift, ...]:
    from scipy.stats import norm

    found = []
    for column, name in enumerate(names):
        firm = float((lever[:, :, column] ** 2).sum())
        if firm > 0.0:
            slope = float((lever[:, :, column] * white).sum()) / firm
            z = abs(slope) * np.sqrt(firm)
            found.append(Drift(name, slope / scale, 1.0 / np.sqrt(firm) / scale, float(2.0 * norm.sf(z))))
    return tuple(found)
