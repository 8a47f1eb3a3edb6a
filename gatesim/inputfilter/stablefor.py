"""A level is accepted only after it held for a time."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw
from gatesim.ground.quantity import accepts
from gatesim.inputfilter.base import Accepted


@dataclass(frozen=True)
@accepts(time="s")
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
        edges = np.ascontiguousarray(times.T)  # a row for each edge, all trials at once
        due = edges + self.time
        # an edge that arrives just when the time is up no longer undoes the level
        held = due < np.inf
        held[:-1] &= due[:-1] <= edges[1:]
        # of levels that held, one is new unless it follows an equal one
        dark = np.zeros(len(times), bool)
        accepted = Accepted(len(times), len(edges))
        for k, holds in enumerate(held):
            changes = holds & (dark != (k % 2 == 0))
            accepted.add(due[k], changes)
            dark ^= changes
        return accepted.lists()
