"""Stages that look at their input from time to time only."""

from dataclasses import dataclass

from gatesim.ground.quantity import Quantity


@dataclass(frozen=True)
class Sampling:
    """Samples once a ``period``; ``draw`` names the draw of their phase, uniform in periods."""

    period: Quantity
    draw: str
