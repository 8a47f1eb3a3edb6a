"""Stages that look at their input from time to time only."""

from dataclasses import dataclass
from typing import Self

from gatesim.ground.quantity import Quantity


@dataclass(frozen=True)
class Sampling:
    """Samples once a ``period``; ``draw`` names the draw of their phase, uniform in periods."""

    period: Quantity
    draw: str


class Continuous:
    """What a table is that looks at its input all the time: it samples nothing."""

    def sampling(self, name: str = "") -> None:
        """None."""

    def smoothed(self) -> Self:
        """Itself."""
        return self
