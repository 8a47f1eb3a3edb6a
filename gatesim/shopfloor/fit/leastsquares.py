"""Least squares of residuals that are already in units of their standard uncertainty."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from gatesim.draw import Array


@dataclass(frozen=True)
class Minimum:
    """Estimate (k,), residuals (n,) and their Jacobian (n, k) there."""

    estimate: Array
    residual: Array
    jacobian: Array
    converged: bool
    message: str


def minimise(
    residual: Callable[[Array], Array],
    jacobian: Callable[[Array], Array],
    start: Array,
    *,
    robust: bool = False,
    tolerance: float = 1e-9,
) -> Minimum:
    """Minimise the sum of squares from a start (k,); ``robust`` weighs large residuals down.

    ``tolerance``: relative change of the sum, of the estimate, or gradient, at which it stops.

    Trust-region reflective algorithm of `scipy.optimize.least_squares`; a step into values
    for which the residuals are NaN is taken back.
    """
    from scipy.optimize import least_squares  # deferred: costs start-up time

    norms = np.linalg.norm(jacobian(start), axis=0)
    # the first trust region reaches a thousand standard uncertainties from the start
    scale = 1e3 / np.where(norms > 0.0, norms, 1.0)
    found = least_squares(
        residual,
        start,
        jacobian,
        method="trf",
        x_scale=scale,
        loss="soft_l1" if robust else "linear",
        xtol=tolerance,
        ftol=tolerance,
        gtol=tolerance,
        max_nfev=100,
    )
    # a robust search ends with a Jacobian weighted by its loss, which is nobody's
    slopes = jacobian(found.x) if robust else found.jac
    return Minimum(found.x, found.fun, slopes, found.status > 0, str(found.message))


def covariance(jacobian: Array) -> Array:
    """Covariance (k, k) of the estimate, the inverse of J^T J (JCGM 100, linearised model).

    Infinite variance for what the residuals do not depend on. By singular values of the
    scaled Jacobian, so that units do not matter.
    """
    scale = np.linalg.norm(jacobian, axis=0)
    idle = scale == 0.0
    scale = np.where(idle, 1.0, scale)
    _, s, v = np.linalg.svd(jacobian / scale, full_matrices=False)
    firm = s > RANK_TOLERANCE * s.max(initial=0.0)
    inverse: Array = (v[firm].T / s[firm] ** 2) @ v[firm] / np.outer(scale, scale)
    inverse = 0.5 * (inverse + inverse.T)
    # any share in a direction without information leaves a quantity unknown
    loose = (np.abs(v[~firm]) > 1e-3).any(axis=0) | idle
    inverse[loose, loose] = np.inf
    return inverse


# differences of counts are good to about 1e-8 of their slope, so a smaller singular value is none
RANK_TOLERANCE = 1e-6
