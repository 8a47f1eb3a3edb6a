"""What stands on the rig, for whoever wires the controller and sets it up."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from gatesim.ground.text import between
from gatesim.scenario import Scenario


@dataclass(frozen=True)
class Wire:
    """The role of one gate; ``position`` from the part's leading end at release, m."""

    gate: int
    position: float
    role: str
    edges: str


def wiring(registers: Sequence[str], scenario: Scenario) -> tuple[Wire, ...]:
    """Roles of the gates for a formula that reads these registers."""
    first, rearm = scenario.gate.first.nominal, scenario.gate.rearm
    rear = "rear_capture" in registers
    both = "leading and trailing"
    wires = [Wire(1, first, "gate input: starts the count, its trailing edge latches dwell", both)]
    second = "capture input: leading edge latches capture" + (", trailing edge rear_capture" if rear else "")
    if "capture" not in registers:
        second = "capture input: not used by this formula"
    wires.append(Wire(2, first + scenario.gate.spacing.nominal, second, both if rear else "leading"))
    if rearm is not None:
        third = "re-arm input: its leading edge ends the cycle"
        third += " and latches third_capture" if "third_capture" in registers else ""
        wires.append(Wire(3, first + rearm.nominal, third, "leading"))
    return tuple(wires)


def devices(scenario: Scenario) -> tuple[tuple[str, str], ...]:
    """What else acts along the path, and from where to where the leading end meets it."""
    found = [drawn for force in scenario.forces if (drawn := force.drawn()) is not None]
    return tuple((d.figure, between(d.start, math.inf if d.end is None else d.end)) for d in found)


def settings(scenario: Scenario) -> tuple[tuple[str, str], ...]:
    """Count source, way of counting and input filter, as they must be set."""
    c = scenario.counter
    kept = "until re-armed" if c.counting == "until-rearm" else "while gate 1 is dark"
    return (
        ("count source", f"{c.source.setting}; register of {c.width} bits, unsigned"),
        ("counting", f"{kept}; edges taken {c.timing.setting}"),
        ("input filter", f"{scenario.filter.setting}, the same on every gate"),
    )
