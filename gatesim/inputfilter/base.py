"""What every input filter does."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.ground.draw import Draw
from gatesim.ground.transition import trimmed


class Filter(Protocol):
    """Turns the sensor's transitions into those that the counter sees."""

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """Filter transition lists (n, k) -> (n, m), both as in `gatesim.ground.transition`."""
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


class Accepted:
    """Transition lists of n trials that grow edge by edge; a row of each array is one edge."""

    def __init__(self, n: int, most: int) -> None:
        self._times = np.full((most, n), np.inf)
        self._used = np.zeros(n, np.intp)

    def add(self, times: Array, where: NDArray[np.bool_]) -> None:
        """Append a transition at ``times`` (n,) to the lists of the trials ``where`` (n,)."""
        trial = np.flatnonzero(where)
        if trial.size:
            self._times[self._used[trial], trial] = times[trial]
            self._used[trial] += 1

    def lists(self) -> Array:
        """The lists as `gatesim.ground.transition` has them, (n, m)."""
        width = max(2, int(self._used.max(initial=0)))
        return trimmed(np.ascontiguousarray(self._times[:width].T))
