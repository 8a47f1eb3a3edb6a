"""A level is accepted only after it held for a time."""

from dataclasses import dataclass

import numpy as np

from gatesim.draw import Array, Draw
from gatesim.inputfilter.base import column
from gatesim.quantity import Scalar
from gatesim.transition import compact


@dataclass(frozen=True)
class StableFor:
    """Accept a level after it held for ``time`` (s): both edges come late by that time.

    Swallows pulses and gaps shorter than ``time``; a train of pulses and gaps all shorter
    passes nothing at all. Common practice for debouncing, no source.
    """

    time: Scalar

    @property
    def surely_followed(self) -> float:
        """See `Filter.surely_followed`."""
        return float(np.max(self.time))

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """See `Filter.pass_on`."""
        due = times + column(self.time)
        # an edge that arrives just when the time is up no longer undoes the level
        held = due < np.inf
        held[:, :-1] &= due[:, :-1] <= times[:, 1:]
        # of levels that held, one is new unless it follows an equal one
        dark = np.zeros(len(times), bool)
        for k in range(times.shape[1]):
            changes = held[:, k] & (dark != (k % 2 == 0))
            dark ^= changes
            held[:, k] = changes
        return compact(np.where(held, due, np.inf))
