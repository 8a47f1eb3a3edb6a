"""Does the fitted model describe the log: lack of fit, scatter, drift, judged together."""

from dataclasses import dataclass, replace
from typing import ClassVar

from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.shopfloor.fit.drift import Drift, lags, trend_of
from gatesim.shopfloor.fit.rows import Rows
from gatesim.shopfloor.fit.scatter import ENOUGH_REPEATS, Within, wider, without_trend
from gatesim.shopfloor.fit.system import System

LEVEL = 0.01  # chance that a log which the model describes is found fault with
TESTS = 3  # model, scatter and drift share that chance evenly (Bonferroni)


@dataclass(frozen=True)
class Test:
    """A statistic, its degrees of freedom (the second 0 where there is one only), p-value."""

    name: str
    statistic: float
    freedom: tuple[float, float]
    p: float

    @property
    def significant(self) -> bool:
        """Whether it is beyond its share of `LEVEL`."""
        return self.p < LEVEL / TESTS


@dataclass(frozen=True)
class Adequacy:
    """Tests of a fit; None where the log does not allow one.

    ``misfit``: means of repeated rows against the model, by the stated scatter.
    ``lack_of_fit``: the same by the scatter of the repeated rows themselves. ``scatter``:
    that scatter against the stated one, ``scatter_ratio`` of standard deviations; ``widened``
    where the fit takes it instead of the stated one. ``drift``: trend of the residuals;
    ``drifts`` the same taken as a change of each quantity alone, best explanation first.
    ``crowded`` where too many rows lie too far off for single outliers.
    """

    misfit: Test | None
    lack_of_fit: Test | None
    scatter: Test | None
    scatter_ratio: float
    widened: bool
    drift: Test | None
    drifts: tuple[Drift, ...]
    drift_per: str
    crowded: bool

    KEYS: ClassVar[Keys] = {"describes": "describes", "holds": "holds"}

    @property
    def of_model(self) -> Test | None:
        """The test of the model: by the stated scatter, or by that of the rows where it is wider."""
        return self.lack_of_fit if self.widened else self.misfit

    @property
    def misfits(self) -> bool:
        """Whether the model misses the means of the rows."""
        return self.of_model is not None and self.of_model.significant

    @property
    def drifted(self) -> bool:
        """Whether the counts change with time."""
        return self.drift is not None and self.drift.significant

    @property
    def scatters(self) -> bool:
        """Whether repeated rows scatter more than the model says."""
        wide = self.scatter is not None and self.scatter.significant and self.scatter_ratio > 1.0
        return wide or self.crowded

    @property
    def describes(self) -> bool:
        """Whether the model describes the log as far as all tests together can tell."""
        return not (self.misfits or self.drifted or self.scatters)

    @property
    def holds(self) -> bool:
        """Whether estimates and uncertainties can be used: more scatter alone is in the uncertainties."""
        return not (self.misfits or self.drifted or (self.scatters and not self.widened))


def scatter_test(found: Within) -> Test | None:
    """Scatter of repeated rows against the stated one (chi-square, both sides)."""
    from scipy.stats import chi2

    if not found.freedom:
        return None
    least, most = found.slack
    squares, free = found.squares / found.width, found.freedom / found.width
    # with next to no jitter counts just above a whole number may all be equal: nothing is too little
    too_little = float(chi2.cdf(squares / least, free)) if least > 0.05 else 1.0
    too_much = float(chi2.sf(squares / most, free))
    p = min(1.0, 2.0 * min(too_little, too_much))
    return Test("scatter of repeated rows", found.squares / found.freedom, (found.freedom, 0), p)


@dataclass(frozen=True)
class Misfit:
    """Sum of squares that a minimum leaves, and its degrees of freedom."""

    squares: float
    freedom: int


def judge(
    rows: Rows,
    counts: Array,
    stated: tuple[System, Misfit, Within],
    final: tuple[System, Misfit, Array],
    crowded: bool,
) -> Adequacy:
    """Test a fit of ``counts`` (n, 4), any trend of the model taken out.

    ``stated``: by the stated scatter, with what repeated rows show. ``final``: the same, or by
    the scatter of the rows where that is wider, and its estimate (k,).
    """
    from scipy.stats import chi2

    system, misfit, found = stated
    chi = None
    if misfit.freedom > 0:
        p = float(chi2.sf(misfit.squares / found.slack[1], misfit.freedom))
        chi = Test("misfit", misfit.squares / misfit.freedom, (misfit.freedom, 0), p)
    widened = final[0] is not system
    steady = final[0]
    if widened:  # the drift that is looked for is no scatter
        matrix, repeats = without_trend(found, lags(system, rows))
        steady = replace(steady, covariance=wider(system.covariance, system.cells, matrix, repeats))
    trend = trend_of(steady, rows, final[2], counts)
    drift = None
    if trend is not None:
        p = float(chi2.sf(trend.statistic, trend.freedom))
        drift = Test("drift", trend.statistic / trend.freedom, (trend.freedom, 0), p)
    return Adequacy(
        misfit=chi,
        lack_of_fit=_lack_of_fit(misfit, final[1], found, widened),
        scatter=scatter_test(found),
        scatter_ratio=found.ratio,
        widened=widened,
        drift=drift,
        drifts=trend.drifts if trend is not None else (),
        drift_per=rows.per,
        crowded=crowded,
    )


def _lack_of_fit(stated: Misfit, final: Misfit, found: Within, widened: bool) -> Test | None:
    """Model against the scatter of repeated rows (F)."""
    from scipy.stats import f

    if stated.freedom <= 0 or found.freedom < ENOUGH_REPEATS or found.squares == 0.0:
        return None
    if widened:
        quotient, second = final.squares / final.freedom, float(found.repeats)
    else:
        quotient = stated.squares / stated.freedom / (found.squares / found.freedom)
        second = found.freedom
    p = float(f.sf(quotient, stated.freedom, second))
    return Test("lack of fit", quotient, (stated.freedom, second), p)


def excess(found: Within, test: Test | None) -> bool:
    """Whether repeated rows scatter so much more than stated that their own scatter is to be taken."""
    return test is not None and test.significant and found.ratio > 1.0 and found.freedom >= ENOUGH_REPEATS
