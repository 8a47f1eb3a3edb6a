"""What there is to draw of a rig: lengths along and across its path."""

from dataclasses import dataclass

from gatesim.scenario.model import Scenario

ASPECT = 0.1
"""Height over length at which a part is drawn that the scenario gives no height."""


@dataclass(frozen=True)
class RigGeometry:
    """A rig along its path; m and rad. Travel 0 is the leading end at release.

    ``brake``: start and end of the magnet zone; ``spring``: stretch of the launcher;
    ``belt``: travel at which the belt begins; None where there is none. ``height_known``
    tells whether the part's height is the scenario's or a stand-in.
    """

    slope: float
    length: float
    height: float
    height_known: bool
    gates: tuple[float, ...]
    end: float
    brake: tuple[float, float] | None
    spring: float | None
    belt: float | None


def rig_geometry(scenario: Scenario) -> RigGeometry:
    """Nominal geometry of a scenario."""
    gate, part = scenario.gate, scenario.part
    first, length = gate.first.nominal, part.length.nominal
    later = [gate.spacing.nominal] + ([] if gate.rearm is None else [gate.rearm.nominal])
    gates = (first, *(first + distance for distance in later))
    brake = scenario.brake
    zone = None if brake is None else (brake.start.nominal, brake.start.nominal + brake.length.nominal)
    return RigGeometry(
        slope=scenario.path.slope.nominal,
        length=length,
        height=ASPECT * length if part.height is None else part.height.nominal,
        height_known=part.height is not None,
        gates=gates,
        end=gates[-1] + length,
        brake=zone,
        spring=None if scenario.launch is None else scenario.launch.stretch.nominal,
        belt=None if scenario.belt is None else scenario.belt.start.nominal,
    )
