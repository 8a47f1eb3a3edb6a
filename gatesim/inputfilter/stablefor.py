"""A level is accepted only after it held for a time."""

from dataclasses import dataclass

import numpy as np

from gatesim.draw import Array, Draw
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
    def shortest_pulse(self) -> float:
        """See `Filter.shortest_pulse`."""
        return float(np.max(self.time))

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """See `Filter.pass_on`."""
        accepted = np.full(times.shape, np.inf)
        dark = np.zeros(len(times), bool)
        for column in range(times.shape[1]):
            now = times[:, column]
            until = times[:, column + 1] if column + 1 < times.shape[1] else np.full(len(times), np.inf)
            to_dark = column % 2 == 0
            due = now + self.time
            # an edge that arrives just when the time is up no longer undoes the level
            takes = (due <= until) & np.isfinite(now) & (dark != to_dark)
            accepted[takes, column] = due[takes]
            dark[takes] = to_dark
        return compact(accepted)
