"""Spacing and dwell, corrected for a release from rest at a fixed distance.

From rest under any constant acceleration, x = a t^2 / 2, so the square roots of the
distances grow evenly in time and the acceleration cancels:

    T / t_s = (sqrt(x_A + L) - sqrt(x_A)) / (sqrt(x_A + s) - sqrt(x_A)),

solved for L. Slope and sliding friction do not matter; an initial speed or drag do.
"""

import math
from typing import TYPE_CHECKING

import numpy as np

from gatesim.formula.base import Constants, Counts, Formula, ratio
from gatesim.formula.seen import AssumedMotion, SeenMotion, from_rest
from gatesim.ground.arrays import Array

if TYPE_CHECKING:
    from gatesim.formula.integer.ranges import Ranges
    from gatesim.formula.integer.sketch import Sketch


class FixedRelease(Formula):
    """Length from the ratio of two counts and the release distance."""

    name = "fixed-release"
    equation = "L = (√x_A + (√(x_A+s) - √x_A) T/t_s)² - x_A"
    needs = "dwell at gate 1, one capture at gate 2, release from rest at a fixed distance"
    idea = "The distance from a release at rest tells how the speed grows, whatever the slope"
    assumes = "a release from rest and one constant acceleration since"
    at_constant_acceleration = "none, if the part is released from rest at x_A"
    registers = ("dwell", "capture")
    constants = ("spacing", "release_distance")
    counts_of = "time"
    one_speed = False

    def length(self, counts: Counts, constants: Constants) -> Array:
        """See `Formula.length`."""
        root = np.sqrt(constants.release_distance)
        step = np.sqrt(constants.release_distance + constants.spacing) - root
        reached: Array = root + step * ratio(counts.dwell, counts.capture)
        return reached**2 - constants.release_distance

    def assumed_motion(self, seen: SeenMotion, constants: Constants) -> AssumedMotion:
        """Released from rest where the part is, under one acceleration."""
        return from_rest(seen)

    def integer_form(self, k: "Sketch", constants: Constants, ranges: "Ranges", fine: float) -> str:
        """L = (A + B T/c) T/c with A = 2 sqrt(x_A) d, B = d^2, d = sqrt(x_A + s) - sqrt(x_A)."""
        root = math.sqrt(constants.release_distance)
        d = math.sqrt(constants.release_distance + constants.spacing) - root
        k.constant("LINEAR", 2.0 * root * d / fine, "2 sqrt(x_A) (sqrt(x_A + s) - sqrt(x_A))")
        k.constant("SQUARE", d * d / fine, "(sqrt(x_A + s) - sqrt(x_A)) squared; LINEAR + SQUARE = s")
        k.step("bend_n", "multiply", "SQUARE", "dark")
        k.step("bend", "divide", "bend_n", "reach")
        k.step("slope", "add", "LINEAR", "bend")
        k.step("product", "multiply", "slope", "dark")
        return k.step("plain", "divide", "product", "reach", "release from rest: the acceleration cancels")


FORMULA = FixedRelease()
