"""What rolling without sliding takes, which is taken for granted of a part with an inertia factor."""

import numpy as np

from gatesim.chain.pipeline import Measured
from gatesim.ground.arrays import first_of
from gatesim.motion import Force
from gatesim.motion.integrate.span import total_acceleration
from gatesim.scenario.model import Scenario

SLIPPERY = 0.3
"""Friction that dry guides cannot be counted on to exceed (common practice, no source)."""


def friction_to_roll(passed: Measured) -> float:
    """Largest coefficient of friction that the first trial needs on its way to roll without sliding.

    The friction S at the contact turns the part against its rolling resistance: c m a = S - f N (see
    `gatesim.motion.Path`); looked at between the points that are known of its motion.
    """
    rig, motion = passed.rig, passed.motion
    known = ~np.isnan(motion.node_time[0])
    order = np.argsort(motion.node_time[0][known], kind="stable")
    x, v = motion.node_position[0][known][order], motion.node_speed[0][known][order]
    forces = tuple(force for force in rig.forces if isinstance(force, Force))
    share = np.array([[1e-6], [0.5], [1 - 1e-6]])  # within each stretch: forces jump at its ends
    middle = (x[:-1] + share * np.diff(x)).ravel()
    speed = (v[:-1] + share * np.diff(v)).ravel()
    a = [
        first_of(total_acceleration(rig.part, rig.path, forces, np.full(1, at), np.full(1, fast)))
        for at, fast in zip(middle, speed, strict=True)
    ]
    per_press = first_of(rig.part.inertia_factor) / first_of(rig.path.press(1.0))
    turning = per_press * np.array(a) + first_of(rig.path.friction)
    return float(np.max(np.abs(turning), initial=0.0))


def rolling(scenario: Scenario, passed: Measured) -> str:
    """Sentences on a part that rolls; nothing on one that slides."""
    factor = scenario.part.inertia_factor.nominal
    if factor == 0.0:
        return ""
    need, given = friction_to_roll(passed), scenario.path.static_friction
    told = [f"To roll, the part takes a coefficient of friction of {need:.3g}."]
    if given is not None and need > given.nominal:
        told.append(f"With the {given.text} there is it slides in places, which is not computed.")
    elif given is None and need > SLIPPERY:
        told.append(
            f"That is more than {SLIPPERY}, on which a dry guide can be counted: where it is not there the "
            "part slides, which is not computed. State path.static_friction to have it checked."
        )
    if scenario.path.release_speed.nominal > 0.0:
        lost = 100 * factor / (1 + factor)
        told.append(
            f"If it is released with speed but does not roll yet, it loses {lost:.2g} % of it until it does, "
            "which is not computed."
        )
    return " ".join(told)
