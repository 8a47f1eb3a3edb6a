"""The nominal passage: one part, every draw at its median."""

from dataclasses import replace

import numpy as np

from gatesim.chain.controller import (
    Controller,
    controller_of,
    keep_passing,
    left_to_motion,
    mean_acceleration,
)
from gatesim.chain.pipeline import Measured, Move, measure, motion_query, run
from gatesim.ground.arrays import first_of, take
from gatesim.ground.draw import Nominal
from gatesim.motion import Belt, passage
from gatesim.scenario.model import Scenario


def nominal_passage(scenario: Scenario, move: Move = passage) -> Measured:
    """As `gatesim.chain.pipeline.run` of one nominal trial, with the same bits and half the work.

    The controller's acceleration is that of the same part on the same way: both are solved side by side.
    """
    draw = Nominal(1)
    if not left_to_motion(scenario):
        return run(scenario, draw, move=move)
    query = motion_query(scenario, draw, controller=Controller({}))
    rig, positions, ends = query.rig, query.positions[0], [query.front[0], query.rear[0]]
    first = first_of(rig.gates[0])
    last = first + first_of(rig.part.length)
    # twice the same, which changes nothing, so that both meet the kinks of the forces in step
    asked = np.stack([positions, np.where(positions < last, first, last)])
    asked[1, ends] = first, last
    rows = np.zeros(2, np.intp)
    forces = tuple(take(force, rows) for force in rig.forces)
    both = move(take(rig.part, rows), take(rig.path, rows), forces, asked)
    keep_passing(scenario, mean_acceleration(both.time[1, ends], both.speed[1, ends]))
    constants = controller_of(scenario).constants
    belt = next((force for force in rig.forces if isinstance(force, Belt)), None)
    own = replace(take(both, slice(1)), belt=belt)
    return measure(scenario, draw, replace(query, rig=replace(rig, constants=constants)), own)
