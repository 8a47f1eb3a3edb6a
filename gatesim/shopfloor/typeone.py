"""Type-1 study: repeated indications of one reference part, and the bias over several."""

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.studies.convention import Convention


@dataclass(frozen=True)
class TypeOne:
    """Result of a type-1 study; lengths in the unit of the indications.

    ``bias_interval``, ``c_g_interval`` hold the 95 % confidence limits; the t-test asks
    whether the bias could be zero. The larger of ``std`` and the standard uncertainty of the
    ``resolution`` makes the indices (ISO 22514-7, from memory); they are inf where both are 0.
    """

    reference: float
    count: int
    mean: float
    std: float
    bias: float
    bias_interval: tuple[float, float]
    t_statistic: float
    p_value: float
    tolerance: float
    c_g: float
    c_g_interval: tuple[float, float]
    c_gk: float
    convention: Convention
    resolution: float = 0.0

    KEYS: ClassVar[Keys] = {"*": "*", "capable": "capable"}

    @property
    def spread(self) -> float:
        """The larger of repeatability and resolution, as a standard deviation."""
        return max(self.std, self.resolution / math.sqrt(12.0))

    @property
    def capable(self) -> bool:
        """Both indices reach the limit of the convention."""
        return self.c_g >= self.convention.required and self.c_gk >= self.convention.required


def type_one(
    indications: Array, reference: float, tolerance: float, convention: Convention, resolution: float = 0.0
) -> TypeOne:
    """Study ``indications``, shape (n,), of a part of length ``reference``.

    ``tolerance`` is the width of the tolerance interval, ``resolution`` the step of the
    indications. The interval of C_g is that of a standard deviation (chi-squared). Raises
    ValueError with fewer than two indications.
    """
    from scipy import stats

    n = indications.size
    if n < 2:
        raise ValueError(f"{n} indications, expected at least 2")
    bias = float(np.mean(indications - reference))
    std = float(np.std(indications, ddof=1))
    # Indications that are all alike but for rounding say nothing about the scatter.
    if std <= 1e-12 * abs(reference):
        std = 0.0
        t, p, interval = (
            (math.copysign(math.inf, bias), 0.0, (bias, bias)) if bias else (0.0, 1.0, (0.0, 0.0))
        )
    else:
        test = stats.ttest_1samp(indications - reference, 0.0)
        limits = test.confidence_interval(0.95)
        t, p, interval = float(test.statistic), float(test.pvalue), (float(limits.low), float(limits.high))
    spread = max(std, resolution / math.sqrt(12.0))
    c_g = _ratio(convention.share * tolerance, convention.spread * spread)
    low, high = np.sqrt(stats.chi2.ppf([0.025, 0.975], n - 1) / (n - 1))
    return TypeOne(
        reference=reference,
        count=n,
        mean=reference + bias,
        std=std,
        bias=bias,
        bias_interval=interval,
        t_statistic=t,
        p_value=p,
        tolerance=tolerance,
        c_g=c_g,
        c_g_interval=(c_g * float(low), c_g * float(high)),
        c_gk=_ratio(convention.share / 2 * tolerance - abs(bias), convention.spread / 2 * spread),
        convention=convention,
        resolution=resolution,
    )


def _ratio(above: float, below: float) -> float:
    return above / below if below else math.copysign(math.inf, above)


@dataclass(frozen=True)
class Linearity:
    """Line through the bias over the reference length, bias = intercept + slope reference.

    ``at`` holds the distinct references, ``bias`` the mean bias at each, ``band`` the 95 %
    confidence limits of the line there, shape (k, 2). ``p_lack_of_fit`` (NaN with fewer
    than three references, or no repeats) is small where the bias does not follow a line. Where
    the indications do not scatter at all there are no tests: t and p are NaN.
    """

    at: Array
    bias: Array
    band: Array
    slope: float
    intercept: float
    slope_std: float
    intercept_std: float
    t_slope: float
    t_intercept: float
    p_slope: float
    p_intercept: float
    degrees_of_freedom: int
    r_squared: float
    residual_std: float
    p_lack_of_fit: float

    KEYS: ClassVar[Keys] = {"*": "*", "zero_within_band": "zero_within_band"}

    @property
    def tested(self) -> bool:
        """Whether the indications scatter, so that there is something to test by."""
        return not math.isnan(self.t_slope)

    @property
    def zero_within_band(self) -> bool:
        """The line of zero bias lies inside the confidence band at every reference."""
        return bool(np.all((self.band[:, 0] <= 0.0) & (self.band[:, 1] >= 0.0)))


def linearity(indications: Array, references: Array) -> Linearity:
    """Regress the bias of single indications on their reference lengths, both shape (n,).

    Ordinary least squares over all indications, as in the linearity study of the
    measurement systems analysis manual. Raises ValueError with fewer than two references.
    """
    import statsmodels.api as sm

    at = np.unique(references)
    if at.size < 2 or indications.size < 3:
        raise ValueError("a line needs at least two reference lengths and three indications")
    bias = indications - references
    fit = sm.OLS(bias, sm.add_constant(references)).fit()
    band = fit.get_prediction(sm.add_constant(at)).conf_int(alpha=0.05)
    intercept, slope = (float(v) for v in fit.params)
    residual_std = float(np.sqrt(fit.mse_resid))
    t_intercept = t_slope = p_intercept = p_slope = math.nan
    if residual_std > 1e-12 * float(np.abs(references).max()):  # rounding is no scatter
        t_intercept, t_slope = (float(v) for v in fit.tvalues)
        p_intercept, p_slope = (float(v) for v in fit.pvalues)
    with np.errstate(divide="ignore", invalid="ignore"):  # no bias at all
        r_squared = float(fit.rsquared)
    return Linearity(
        at=at,
        bias=np.array([bias[references == r].mean() for r in at]),
        band=np.asarray(band),
        slope=slope,
        intercept=intercept,
        slope_std=float(fit.bse[1]),
        intercept_std=float(fit.bse[0]),
        t_slope=t_slope,
        t_intercept=t_intercept,
        p_slope=p_slope,
        p_intercept=p_intercept,
        degrees_of_freedom=int(fit.df_resid),
        r_squared=r_squared,
        residual_std=residual_std,
        p_lack_of_fit=_lack_of_fit(bias, references, float(fit.ssr)),
    )


def _lack_of_fit(bias: Array, references: Array, residual_squares: float) -> float:
    """F test of the group means against the line (Draper and Smith, Applied Regression Analysis)."""
    from scipy import stats

    at, group = np.unique(references, return_inverse=True)
    means = np.bincount(group, bias) / np.bincount(group)
    pure = float(np.sum((bias - means[group]) ** 2))
    free, repeats = at.size - 2, bias.size - at.size
    if free < 1 or repeats < 1 or pure == 0.0:
        return math.nan
    return float(stats.f.sf((residual_squares - pure) / free / (pure / repeats), free, repeats))
