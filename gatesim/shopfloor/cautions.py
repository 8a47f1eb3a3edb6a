"""What can hurt at a rig, and which standards to turn to."""

from gatesim.scenario import Scenario


def cautions(scenario: Scenario) -> tuple[str, ...]:
    """Cautions that apply to this rig, the general ones first. Standards named from memory."""
    found = [
        "The measuring gates are no protective equipment (IEC 61496) and must not stand in for it. "
        "Assess the risks of the whole machine (ISO 12100); guards and distances to ISO 14120 and ISO 13857.",
        "Laser or bright light sources: observe the class marked on them (IEC 60825-1); do not look "
        "into the beam.",
    ]
    if scenario.brake is not None:
        found.append(
            "Strong magnets pinch fingers, pull in steel, and disturb pacemakers, implants and data "
            "carriers: keep people with implants away."
        )
    if scenario.launch is not None:
        found.append(
            "The launcher stores energy: relax it before work, wear eye protection, close the line of "
            "flight with a catch box."
        )
    if scenario.belt is not None:
        found.append(
            "Belts draw in hands and clothing (EN 619): guard the nips, lock out before reaching in."
        )
    if scenario.belt is None and scenario.launch is None:
        found.append(
            "Falling and sliding parts: keep hands and faces out of the path, catch the parts safely."
        )
    found.append(
        "Electrical work, guarding and sign-off are for licensed practice under the local codes, "
        "which prevail over this sheet."
    )
    return tuple(found)
