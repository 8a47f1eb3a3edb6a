"""Variance components of a gauge study with missing or unequal cells, by restricted maximum likelihood.

The linear mixed model indication = mean + part + operator + interaction + repeatability, all
random, fitted by statsmodels to every indication there is. In a balanced study without negative
estimates it gives what the analysis of variance gives (Searle, Casella and McCulloch, Variance
Components (1992), section 4.8; from memory).
"""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array


@dataclass(frozen=True)
class Estimate:
    """Variances by source, "repeatability" last, their covariance, and twice the log-likelihood."""

    variances: dict[str, float]
    covariance: Array
    twice_likelihood: float


def reml(y: Array, factors: dict[str, Sequence[object]]) -> Estimate:
    """Fit random ``factors`` (labels of each of the n indications) to ``y`` (n,).

    Raises ValueError where the search does not end.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec
    from statsmodels.tools.sm_exceptions import ConvergenceWarning

    size = float(np.std(y)) or 1.0
    designs = {name: _indicators(labels) for name, labels in factors.items()}
    names = list(designs)
    columns = [[[f"{n}{k}" for k in range(designs[n].shape[1])]] for n in names]
    spec = VCSpec(names, columns, [[designs[n]] for n in names])
    ones = np.ones(len(y))
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        # a component at zero is no failure: it says so without need
        warnings.simplefilter("ignore", ConvergenceWarning)
        warnings.simplefilter("ignore", UserWarning)
        warnings.simplefilter("ignore", RuntimeWarning)
        try:
            found = MixedLM((y - y.mean()) / size, ones, groups=ones, exog_vc=spec).fit(reml=True)
        except (np.linalg.LinAlgError, ValueError) as reason:
            raise ValueError(f"the mixed model finds no components ({reason})") from None
    values = [max(float(v), 0.0) * size**2 for v in found.vcomp] + [float(found.scale) * size**2]
    if not np.isfinite(values).all():
        raise ValueError("the mixed model finds no components")
    variances = dict(zip([*names, "repeatability"], values, strict=True))
    return Estimate(variances, _covariance(variances, designs, len(y)), 2.0 * float(found.llf))


def best(y: Array, factors: dict[str, Sequence[object]], fewer: Estimate | None = None) -> Estimate:
    """As `reml`, and where one factor less is likelier, as a search at the edge may miss, without it.

    ``fewer``: what it is without the last factor, where that is known already.
    """
    found = reml(y, factors)
    if len(factors) > 1:
        last = list(factors)[-1]
        fewer = fewer or best(y, {name: labels for name, labels in factors.items() if name != last})
        if fewer.twice_likelihood > found.twice_likelihood:
            variances = {name: fewer.variances.get(name, 0.0) for name in found.variances}
            designs = {name: _indicators(labels) for name, labels in factors.items()}
            return Estimate(variances, _covariance(variances, designs, len(y)), fewer.twice_likelihood)
    return found


def edge_p(more: Estimate, less: Estimate) -> float:
    """p-value of one variance: half a chi-square, since zero is the edge (Self and Liang 1987, memory)."""
    from scipy.stats import chi2

    return float(0.5 * chi2.sf(max(0.0, more.twice_likelihood - less.twice_likelihood), 1))


def _indicators(labels: Sequence[object]) -> Array:
    distinct = list(dict.fromkeys(labels))
    index = np.array([distinct.index(label) for label in labels])
    return np.asarray(index[:, None] == np.arange(len(distinct)), dtype=float)


def _covariance(variances: dict[str, float], designs: dict[str, Array], n: int) -> Array:
    """Inverse of the expected information, tr(P V_i P V_j) / 2 (Searle et al., section 6.6)."""
    parts = [z @ z.T for z in designs.values()] + [np.eye(n)]
    whole = sum(v * m for v, m in zip(variances.values(), parts, strict=True))
    inverse = np.linalg.inv(whole + 1e-12 * np.trace(whole) / n * np.eye(n))
    ones = np.ones(n)
    p = inverse - np.outer(inverse @ ones, ones @ inverse) / (ones @ inverse @ ones)
    products = [p @ m for m in parts]
    information = 0.5 * np.array([[(a * b.T).sum() for b in products] for a in products])
    return np.asarray(np.linalg.pinv(information))


def satterthwaite(variance: float, of_variance: float, level: float = 0.95) -> tuple[float, float]:
    """Limits of a variance whose estimate has the variance ``of_variance``.

    As of a multiple of chi-square with 2 v^2 / var(v) degrees of freedom (F. E. Satterthwaite,
    Biometrics Bull. 2 (1946) 110).
    """
    from scipy.stats import chi2

    if not variance > 0.0 or not of_variance > 0.0:
        return 0.0, max(0.0, 1.96 * float(np.sqrt(max(of_variance, 0.0))))
    freedom = max(2.0 * variance**2 / of_variance, 0.5)
    tail = (1.0 - level) / 2.0
    return (
        float(variance * freedom / chi2.isf(tail, freedom)),
        float(variance * freedom / chi2.ppf(tail, freedom)),
    )
