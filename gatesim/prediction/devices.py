"""What the forces along a path amount to, in figures and in words."""

from collections.abc import Mapping
from dataclasses import dataclass

from gatesim.chain.pipeline import Measured
from gatesim.motion import Force
from gatesim.scenario.model import Scenario


@dataclass(frozen=True)
class Device:
    """A force of the nominal rig: ``key`` of its table, ``figures`` in SI, None where there is none.

    ``words``: the figures in a sentence or two. ``limits``: what is taken for granted, and how to do better.
    """

    key: str
    figures: Mapping[str, float | None]
    words: str
    limits: tuple[str, ...]


def devices(scenario: Scenario, passed: Measured) -> tuple[Device, ...]:
    """Those forces of which there is something to tell."""
    part, path = passed.rig.part, passed.rig.path
    return tuple(
        Device(table.key, force.figures(part, path), force.words(part, path), table.limits())
        for table, force in zip(scenario.forces, passed.rig.forces, strict=True)
        if isinstance(force, Force) and force.figures(part, path)
    )
