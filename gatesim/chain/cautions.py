"""What can hurt at a rig, and which standards to turn to: one list for all that prints cautions.

Titles of the standards from memory; local codes and licensed practice prevail over all of it.
"""

from collections.abc import Callable
from dataclasses import dataclass

from gatesim.scenario.model import Scenario


@dataclass(frozen=True)
class Caution:
    """A hazard, what to do about it, and the rigs that have it."""

    hazard: str
    text: str
    applies: Callable[[Scenario], bool]

    def __str__(self) -> str:
        return f"{self.hazard}: {self.text}"


def _always(scenario: Scenario) -> bool:
    return True


CAUTIONS = (
    Caution(
        "Measuring gates are no protection",
        "they are no protective equipment (IEC 61496) and must not stand in for it. Assess the risks of "
        "the whole machine (ISO 12100); guards and distances to ISO 14120 and ISO 13857.",
        _always,
    ),
    Caution(
        "Laser light",
        "where a gate has a laser source, observe the class marked on it (IEC 60825-1) and do not look "
        "into the beam.",
        _always,
    ),
    Caution(
        "Strong magnets",
        "they pinch fingers and pull in steel, and disturb pacemakers, implants, cards and data "
        "carriers: keep people with implants away, and handle them one at a time.",
        lambda scenario: scenario.brake is not None,
    ),
    Caution(
        "Stored energy",
        "a launcher that is drawn back stores energy, also when the machine is off: relax it before "
        "work, wear eye protection, and close the line of flight with a catch box.",
        lambda scenario: scenario.launch is not None,
    ),
    Caution(
        "Moving belt",
        "belts draw in hands and clothing where they run on pulleys (EN 619): guard the nip points, stop "
        "and lock the drive before reaching in.",
        lambda scenario: scenario.belt is not None,
    ),
    Caution(
        "Falling and sliding parts",
        "keep hands and faces out of the path, and catch the parts safely.",
        lambda scenario: scenario.belt is None and scenario.launch is None,
    ),
    Caution(
        "Who may do it",
        "electrical work, guarding and sign-off are for licensed practice under the local codes, which "
        "prevail over this page.",
        _always,
    ),
)


def cautions(scenario: Scenario) -> tuple[Caution, ...]:
    """Cautions for the hazards that this rig has."""
    return tuple(caution for caution in CAUTIONS if caution.applies(scenario))
