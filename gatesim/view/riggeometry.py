"""What there is to draw of a rig: lengths along and across its path."""

from dataclasses import dataclass

from gatesim.motion.force.base import Drawn
from gatesim.scenario.model import Scenario

ASPECT = 0.1
"""Height over length at which a part is drawn that the scenario gives no height."""


@dataclass(frozen=True)
class RigGeometry:
    """A rig along its path; m and rad. Travel 0 is the leading end at release.

    ``height_known`` tells whether the part's height is the scenario's or a stand-in;
    ``forces`` what is drawn of them.
    """

    slope: float
    length: float
    height: float
    height_known: bool
    gates: tuple[float, ...]
    end: float
    forces: tuple[Drawn, ...]


def rig_geometry(scenario: Scenario) -> RigGeometry:
    """Nominal geometry of a scenario."""
    gate, part = scenario.gate, scenario.part
    first, length = gate.first.nominal, part.length.nominal
    later = [gate.spacing.nominal] + ([] if gate.rearm is None else [gate.rearm.nominal])
    gates = (first, *(first + distance for distance in later))
    return RigGeometry(
        slope=scenario.path.slope.nominal,
        length=length,
        height=ASPECT * length if part.height is None else part.height.nominal,
        height_known=part.height is not None,
        gates=gates,
        end=gates[-1] + length,
        forces=tuple(drawn for force in scenario.forces if (drawn := force.drawn()) is not None),
    )
