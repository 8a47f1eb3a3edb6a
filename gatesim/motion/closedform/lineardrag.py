"""Linear drag beside a constant drive: dv/dt = a - k v."""

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.motion.roots import solve

SERIES = 0.3


def linear_drag(drive: Array, strength: Array, size: Array, v: Array) -> tuple[Array, Array]:
    """Speed and time after ``size``; see the package. strength = -k in 1/s.

    With s = k t and f1 = (1 - e^-s)/s, f2 = (1 - f1)/s: v = v0 e^-s + a t f1, x = v0 t f1 + a t^2 f2
    (the elementary solution, written so that nothing is lost as k goes to 0). Solved for t.
    """
    k = -strength
    with np.errstate(all="ignore"):  # what comes to rest on the way has no solution
        t = _start(drive, k, size, v)
        limit = np.where(drive < 0, np.log1p(-k * v / drive) / k, np.inf)  # rest

        def miss(t: Array) -> tuple[Array, Array, Array]:
            way, speed = _after(drive, k, v, t)
            return way - size, speed, drive - k * speed

        t, solved = solve(miss, t)
        end = _after(drive, k, v, t)[1]
        solved &= (k > 0) & (t > 0) & (end > 0) & (t < limit)
        # what is nearly at rest at the end: position no longer tells the time
        solved &= (size < 1e4 * end * t) & (size * np.abs(drive - k * end) < 1e4 * end * end)
    return np.where(solved, end, np.nan), np.where(solved, t, np.nan)


def _after(drive: Array, k: Array, v: Array, t: Array) -> tuple[Array, Array]:
    """Way and speed after the time t."""
    s = k * t
    rest = np.exp(-s)
    first = -np.expm1(-s) / s
    second = np.where(s < SERIES, _second(s), (1 - first) / s)
    return t * (v * first + drive * t * second), v * rest + drive * t * first


def _second(s: Array) -> Array:
    """(s - 1 + e^-s)/s^2 for small s: 1/2 - s/6 + s^2/24 - ..."""
    value = np.ones_like(s)
    for n in range(14, 2, -1):
        value *= s / -n
        value += 1
    return 0.5 * value


def _start(drive: Array, k: Array, size: Array, v: Array) -> Array:
    """A time that is not too long.

    Slowing down: at the present speed. Speeding up: with the present acceleration, or at the final speed.
    """
    a = drive - k * v
    falling = size / v
    rising = np.maximum(2 * size / (v + np.sqrt(v * v + 2 * a * size)), size * k / drive)
    return np.where(a > 0, rising, falling)
