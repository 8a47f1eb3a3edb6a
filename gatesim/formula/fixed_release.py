"""Spacing and dwell, corrected for a release from rest at a fixed distance.

From rest under any constant acceleration, x = a t^2 / 2, so the square roots of the
distances grow evenly in time and the acceleration cancels:

    T / t_s = (sqrt(x_A + L) - sqrt(x_A)) / (sqrt(x_A + s) - sqrt(x_A)),

solved for L. Slope and sliding friction do not matter; an initial speed or drag do.
"""

import numpy as np

from gatesim.formula.base import Constants, Counts, Formula, ratio
from gatesim.ground.arrays import Array


def length(counts: Counts, constants: Constants) -> Array:
    """Length from the ratio of two counts and the release distance."""
    root = np.sqrt(constants.release_distance)
    step = np.sqrt(constants.release_distance + constants.spacing) - root
    reached: Array = root + step * ratio(counts.dwell, counts.capture)
    return reached**2 - constants.release_distance


FORMULA = Formula(
    name="fixed-release",
    equation="L = (√x_A + (√(x_A+s) - √x_A) T/t_s)² - x_A",
    needs="dwell at gate 1, one capture at gate 2, release from rest at a fixed distance",
    registers=("dwell", "capture"),
    constants=("spacing", "release_distance"),
    length=length,
)
