"""What every input filter does."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from gatesim.draw import Array, Draw
from gatesim.quantity import Scalar


class Filter(Protocol):
    """Turns the sensor's transitions into those that the counter sees."""

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """Filter transition lists (n, k) -> (n, m), both as in `gatesim.transition`."""
        ...

    @property
    def surely_followed(self) -> float:
        """Duration in s from which a level is accepted whatever its phase and what came before."""
        ...


@dataclass(frozen=True)
class NoFilter:
    """The input follows the sensor at once."""

    surely_followed: float = 0.0

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """See `Filter.pass_on`."""
        return times


def column(value: Scalar) -> Array:
    """One value a trial as a column (n, 1), to go with transition lists (n, k); a scalar as it is."""
    array = np.asarray(value, float)
    return array[:, None] if array.ndim else array
