"""What every length formula takes and gives."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.quantity import accepts


@dataclass(frozen=True)
class Counts:
    """Registers of one measuring cycle, in counts since the leading edge at gate one.

    Arrays of shape (n,), NaN where nothing was recorded: ``dwell`` trailing edge at gate
    one, ``capture`` leading edge at gate two, ``rear_capture`` trailing edge at gate two,
    ``third_capture`` leading edge at gate three.
    """

    dwell: Array
    capture: Array
    rear_capture: Array
    third_capture: Array


@dataclass(frozen=True)
@accepts(
    spacing="m", rearm="m", tick="s", pitch="m", acceleration="m/s^2", release_distance="m", gain="", zero="m"
)
class Constants:
    """What the controller holds: SI floats.

    ``spacing`` and ``rearm`` from gate one to gates two and three (m), ``tick`` the time
    of one count (s), ``pitch`` the travel of one count (m), ``acceleration`` (m/s^2),
    ``release_distance`` to gate one (m); ``gain`` and ``zero`` (m) of the calibration
    line. NaN where the rig has none.
    """

    spacing: float
    rearm: float
    tick: float
    pitch: float
    acceleration: float
    release_distance: float
    gain: float = 1.0
    zero: float = 0.0


@dataclass(frozen=True)
class Formula:
    """A length formula.

    ``registers`` are the counts it reads and ``constants`` what else it needs, both by
    attribute name; ``needs`` says the same in words. ``length`` maps `Counts` and
    `Constants` to lengths in m, shape (n,).
    """

    name: str
    equation: str
    needs: str
    registers: tuple[str, ...]
    constants: tuple[str, ...]
    length: Callable[[Counts, Constants], Array]

    def missing(self, constants: Constants) -> str:
        """The first constant that the rig cannot give, or nothing."""
        return next((key for key in self.constants if np.isnan(getattr(constants, key))), "")


def ratio(numerator: Array | float, denominator: Array) -> Array:
    """Quotient, NaN where the denominator is zero: no count, no reading."""
    undefined = np.full(np.shape(denominator), np.nan)
    quotient: Array = np.divide(numerator, denominator, out=undefined, where=denominator != 0.0)
    return quotient


def dwell_length(speed: Array, acceleration: Array, dwell: Array) -> Array:
    """Length that passes in the dwell: v T + a T^2 / 2."""
    return speed * dwell + 0.5 * acceleration * dwell**2
