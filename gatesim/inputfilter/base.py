"""What every input filter does."""

from dataclasses import dataclass
from typing import Protocol

from gatesim.draw import Array, Draw


class Filter(Protocol):
    """Turns the sensor's transitions into those that the counter sees."""

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """Filter transition lists (n, k) -> (n, m), both as in `gatesim.transition`."""
        ...

    @property
    def shortest_pulse(self) -> float:
        """Longest duration in s of a single pulse that is surely lost."""
        ...


@dataclass(frozen=True)
class NoFilter:
    """The input follows the sensor at once."""

    shortest_pulse: float = 0.0

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """See `Filter.pass_on`."""
        return times
