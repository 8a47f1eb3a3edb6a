"""Arctangent and inverse hyperbolic tangent as one function."""

import numpy as np

from gatesim.ground.arrays import Array

SERIES = 1e-2
"""Below this argument the power series is used: its first term left out is 1e-19 of the whole."""


def arc(z: Array) -> Array:
    """arctan(sqrt z)/sqrt z for z >= 0, artanh(sqrt -z)/sqrt -z for -1 < z < 0, as one smooth function.

    The integral of 1/(1 + z s^2) over s from 0 to 1.
    """
    result = np.full_like(z, 1 / 17)
    for odd in range(15, 0, -2):  # 1 - z/3 + z^2/5 - ...
        result *= -z
        result += 1 / odd
    for rows, function in ((z >= SERIES, np.arctan), (~(z > -SERIES), np.arctanh)):
        if rows.any():
            root = np.sqrt(np.abs(z[rows]))
            result[rows] = function(root) / root
    return result
