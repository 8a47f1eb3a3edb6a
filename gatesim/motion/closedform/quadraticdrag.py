"""Quadratic drag beside a constant drive: dv/dt = a - c v^2."""

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.motion.closedform.arc import arc


def quadratic_drag(drive: Array, strength: Array, size: Array, v: Array) -> tuple[Array, Array]:
    """Speed and time after ``size``; see the package. strength = -c in 1/m.

    v^2 = v0^2 e^-s + 2 a x (1 - e^-s)/s with s = 2 c x, since d(v^2)/dx is linear in v^2. The time is the
    integral of dv/(a - c v^2): with D = c v0 v - a it is (v0 - v)/D arc(-a c (v0 - v)^2/D^2), an arctangent
    for a < 0 and an inverse hyperbolic tangent for a > 0; the latter as a logarithm where it is large.
    """
    c = -strength
    with np.errstate(all="ignore"):  # what comes to rest on the way has no solution
        s = 2 * c * size
        gone = -np.expm1(-s)
        square = v * v * np.exp(-s) + 2 * drive * size * gone / s
        end = np.sqrt(square)
        # (v0 - v)/(c v0 v - a), both of which vanish at the terminal speed w
        w = np.sqrt(np.maximum(drive, 0.0) / c)
        settling = (v + w) / ((v * (v + w) * np.exp(-s) / (end + w) + w) * (v + end))
        ratio = np.where(drive > 0, settling * gone / c, (v - end) / (c * v * end - drive))
        z = -drive * c * ratio * ratio
        time = np.where(z > -0.25, ratio * arc(z), (s / 2 + np.log((w + end) / (w + v))) / (w * c))
        # nearly at rest at the end v^2 is a small difference
        solved = (c > 0) & ((drive >= 0) | (square > 1e-4 * v * v)) & (time > 0)
    return np.where(solved, end, np.nan), np.where(solved, time, np.nan)
