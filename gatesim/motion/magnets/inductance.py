"""The currents' own field: mutual inductance of straight filaments whose current varies as exp(ikx)."""

from math import log, pi

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.motion.magnets.mesh import Patches
from gatesim.motion.magnets.shapes import MU_0

NEAR = 3.0
"""Patches closer than this many of their longest edges are averaged, others taken as points."""


class Kernel:
    """mu_0 K_0(k rho)/(2 pi) between the patches of one mesh and themselves or their mirror images.

    K_0 is -ln rho and a remainder that is smooth at rho = 0: the logarithm is averaged over both patches
    once (n, n), the remainder taken between their centres at each k. Either is symmetric, so that K_0 is
    evaluated for half of the pairs.
    """

    def __init__(self, targets: Patches, sources: Patches) -> None:
        away = targets.centre[:, None, :] - sources.centre[None, :, :]
        distance = np.hypot(away[..., 0], away[..., 1])
        with np.errstate(divide="ignore"):
            self.logarithm = np.log(distance)
        reach = NEAR * 2 * np.maximum(sources.half.max(axis=1)[None, :], targets.half.max(axis=1)[:, None])
        i, j = np.nonzero(distance < reach)
        one = _mean_log(targets, sources, i, j)
        other = _mean_log(sources, targets, j, i)
        self.logarithm[i, j] = (one + other) / 2
        self.upper = np.nonzero(np.triu(distance))
        self.rho = distance[self.upper]
        self.log_rho = np.log(self.rho)

    def at(self, k: float) -> Array:
        """Kernel (n, n) in H/m at wave number k in 1/m."""
        from scipy.special import k0

        i, j = self.upper
        smooth = np.full_like(self.logarithm, -log(k / 2) - np.euler_gamma)
        smooth[i, j] = smooth[j, i] = k0(k * self.rho) + self.log_rho
        kernel: Array = MU_0 / (2 * pi) * (smooth - self.logarithm)
        return kernel


def _mean_log(targets: Patches, sources: Patches, i: NDArray[np.intp], j: NDArray[np.intp]) -> Array:
    """Mean of ln(distance) over source patch j (exactly) and target patch i (four Gauss points)."""
    total = np.zeros(i.shape)
    across = np.stack([-targets.along[:, 1], targets.along[:, 0]], axis=-1)
    u = sources.along[j]
    half = sources.half[j]
    for s in (-1, 1):
        for t in (-1, 1):
            shift = s * targets.half[:, :1] * targets.along + t * targets.half[:, 1:] * across
            away = targets.centre[i] + shift[i] / np.sqrt(3) - sources.centre[j]
            x = np.sum(away * u, axis=-1)
            y = away[:, 1] * u[:, 0] - away[:, 0] * u[:, 1]
            for a in (-1, 1):
                for b in (-1, 1):
                    total += a * b * _corner(x + a * half[:, 0], y + b * half[:, 1])
    mean: Array = total / (4 * sources.area[j])
    return mean


def _corner(x: Array, y: Array) -> Array:
    """Double integral of ln sqrt(x^2 + y^2) over x and y (derived: differentiate)."""
    square = x * x + y * y
    with np.errstate(divide="ignore", invalid="ignore"):
        whole = 0.5 * (x * y * (np.log(square) - 3) + x * x * np.arctan(y / x) + y * y * np.arctan(x / y))
    finite: Array = np.nan_to_num(whole, nan=0.0, posinf=0.0, neginf=0.0)
    return finite
