"""What can hurt at a rig, and which standards to turn to: one list for all that prints cautions.

Titles of the standards from memory; local codes and licensed practice prevail over all of it.
"""

from gatesim.ground.caution import Caution
from gatesim.scenario.model import Scenario

NO_PROTECTION = Caution(
    "Measuring gates are no protection",
    "they are no protective equipment (IEC 61496) and must not stand in for it. Assess the risks of "
    "the whole machine (ISO 12100); guards and distances to ISO 14120 and ISO 13857.",
)
LASER = Caution(
    "Laser light",
    "where a gate has a laser source, observe the class marked on it (IEC 60825-1) and do not look "
    "into the beam.",
)
FALLING = Caution(
    "Falling and sliding parts", "keep hands and faces out of the path, and catch the parts safely."
)
WHO_MAY = Caution(
    "Who may do it",
    "electrical work, guarding and sign-off are for licensed practice under the local codes, which "
    "prevail over this page.",
)


def cautions(scenario: Scenario) -> tuple[Caution, ...]:
    """Cautions for the hazards that this rig has; each force knows its own."""
    own = [caution for force in scenario.forces if (caution := force.caution()) is not None]
    free = [] if any(force.drives for force in scenario.forces) else [FALLING]
    return (NO_PROTECTION, LASER, *own, *free, WHO_MAY)
