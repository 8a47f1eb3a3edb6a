"""Drag curves: a sum of curves with one peak each, as few as the rig's speeds need."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array

TOLERANCE = 0.01
"""Largest deviation of a simplified drag curve, relative to the force."""


@dataclass(frozen=True)
class Curve:
    """Drag F = b v sum of share/(1 + (v/speed)^2); the shares' sum is 1, speeds in m/s.

    One term is the drag curve of Wouterse with its peak b speed/2 at that speed. Every passive conductor
    has such a sum (see section.py), if with many terms.
    """

    shares: tuple[float, ...]
    speeds: tuple[float, ...]

    def weakening(self, v: Array) -> Array:
        """F/(b v) at speeds v: 1 at rest."""
        ratio = np.multiply.outer(v, 1 / np.array(self.speeds))
        weakening: Array = (1 / (1 + ratio * ratio)) @ np.array(self.shares)
        return weakening

    def scaled(self, factor: float) -> "Curve":
        """The same curve with all speeds times ``factor``."""
        return Curve(self.shares, tuple(speed * factor for speed in self.speeds))


def fitted(v: Array, weakening: Array, up_to: float = np.inf, tolerance: float = TOLERANCE) -> Curve:
    """Curve of fewest terms (at most 5) within ``tolerance`` of F/(b v) at v (n,) up to a speed.

    The shares follow from the speeds by least squares with no share negative; the speeds, kept within the
    range given and a little beyond, are sought from a start spread over the peak.
    """
    reach = max(3, int(np.searchsorted(v, up_to)) + 1)
    v, goal = v[:reach], weakening[:reach]
    single, off = _single(v, goal)
    return single if off < tolerance else _several(v, goal, tolerance)


def _single(v: Array, goal: Array) -> tuple[Curve, float]:
    """The curve of one term with the least largest error, and that error."""
    low, high = np.log(v[1]), np.log(10 * v[-1]) + 4
    off = np.inf
    for _ in range(4):
        speed = np.exp(np.linspace(low, high, 60))
        miss = np.max(np.abs(1 / (1 + np.divide.outer(v, speed) ** 2) / goal[:, None] - 1), axis=0)
        best = int(np.argmin(miss))
        off, step = float(miss[best]), (high - low) / 59
        low, high = np.log(speed[best]) - step, np.log(speed[best]) + step
    return Curve((1.0,), (float(speed[best]),)), off


def _several(v: Array, goal: Array, tolerance: float) -> Curve:
    from scipy.optimize import least_squares, nnls

    middle = float(np.log(v[np.argmax(v * goal)]))
    bounds = (np.log(v[1]), np.log(10 * v[-1]))

    def shares(speeds: Array) -> Array:
        table = 1 / (1 + np.divide.outer(v, np.exp(speeds)) ** 2) / goal[:, None]
        return np.asarray(
            nnls(np.vstack([table, np.full(speeds.size, 30.0)]), np.r_[np.ones(v.size), 30.0])[0]
        )

    def miss(speeds: Array) -> Array:
        table = 1 / (1 + np.divide.outer(v, np.exp(speeds)) ** 2)
        part = shares(speeds)
        return np.asarray(table @ part / part.sum() / goal - 1)

    for terms in range(2, 6):
        start = middle + 0.9 * (np.arange(terms) - (terms - 1) / 2) * min(terms, 3)
        start = np.clip(start, bounds[0] + 0.1, bounds[1] - 0.1)
        found = least_squares(miss, start, bounds=bounds, xtol=1e-6, ftol=1e-6).x
        if np.max(np.abs(miss(found))) < tolerance:
            break
    part = shares(found)
    kept = np.flatnonzero(part > 1e-9)
    kept = kept[np.argsort(found[kept])]
    return Curve(tuple((part[kept] / part.sum()).tolist()), tuple(np.exp(found[kept]).tolist()))
