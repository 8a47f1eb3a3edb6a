"""Least squares of residuals that are already in units of their standard uncertainty."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array

FIRST_REACH = 1e3  # the first trust region, in units of one residual

MOST = 60
"""Evaluations before a search is given up: those of logs that belong to their rig take up to 25."""


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

    Trust-region reflective algorithm of `scipy.optimize.least_squares`, in steps of what one
    unit of residual is worth, so that units do not matter; a step into values for which the
    residuals are NaN is taken back. It stops where the sum changes by less than ``tolerance``
    of itself, and unconverged after `MOST` evaluations.
    """
    from scipy.optimize import least_squares  # deferred: costs start-up time

    norms = np.linalg.norm(jacobian(start), axis=0)
    unit = 1.0 / np.where(norms > 0.0, norms, 1.0)
    found = least_squares(
        lambda x: residual(start + unit * x),
        np.zeros(len(start)),
        lambda x: jacobian(start + unit * x) * unit,
        method="trf",
        x_scale=FIRST_REACH,
        loss="soft_l1" if robust else "linear",
        ftol=tolerance,
        xtol=1e-13,
        gtol=1e-13,
        max_nfev=MOST,
    )
    estimate = start + unit * found.x
    # a robust search ends with a Jacobian weighted by its loss, which is nobody's
    slopes = jacobian(estimate) if robust else found.jac / unit
    return Minimum(estimate, found.fun, slopes, found.status > 0, str(found.message))


def covariance(jacobian: Array) -> Array:
    """Covariance (k, k) of the estimate, the inverse of J^T J (JCGM 100, linearised model).

    Infinite variance for what the residuals do not depend on. By singular values of the
    scaled Jacobian, so that units do not matter.
    """
    scale = np.linalg.norm(jacobian, axis=0)
    idle = scale == 0.0
    scale = np.where(idle, 1.0, scale)
    _, s, v = np.linalg.svd(jacobian / scale, full_matrices=False)
    determined = s > RANK_TOLERANCE * s.max(initial=0.0)
    inverse: Array = (v[determined].T / s[determined] ** 2) @ v[determined] / np.outer(scale, scale)
    inverse = 0.5 * (inverse + inverse.T)
    # any share in a direction without information leaves a quantity unknown
    undetermined = (np.abs(v[~determined]) > 1e-3).any(axis=0) | idle
    inverse[undetermined, undetermined] = np.inf
    return inverse


# differences of counts are good to about 1e-8 of their slope, so a smaller singular value is none
RANK_TOLERANCE = 1e-6
