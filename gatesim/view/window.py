"""The stretch of an axis that shows most of what there is; what lies beyond is marked at its border."""

from collections.abc import Sequence

import numpy as np

from gatesim.ground.arrays import Array

GROSS = 4.0
"""So many times the usual, a value may stay outside."""
ISOLATED, MOST = 10.0, 0.8
"""A curve has gross points where its furthest is so many times as far as this share of its points are."""


def curve_reach(distances: Array) -> float:
    """How far from its middle to show a curve whose points (n,) are so far; inf for all of it.

    A steep end belongs to a curve: only what is far beyond the rest is left outside.
    """
    usual = float(np.quantile(distances, MOST))
    return GROSS * usual if float(distances.max()) > ISOLATED * usual > 0.0 else float("inf")


def window(magnitudes: Sequence[float], least: float = 0.0) -> float:
    """Half-width about 0 that shows values of these magnitudes (NaN left out), at least ``least``.

    It is no wider than `GROSS` times their median or ``least``, so that a few gross values do not
    squeeze the rest.
    """
    known = [m for m in magnitudes if np.isfinite(m)]
    if not known:
        return least or 1.0
    usual = max(float(np.median(known)), least)
    return max(min(max(known), GROSS * usual), least) or 1.0
