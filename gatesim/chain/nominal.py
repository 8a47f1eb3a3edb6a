"""The nominal passage: one part, every draw at its median."""

from dataclasses import dataclass, replace

import numpy as np

from gatesim.chain.controller import (
    Controller,
    controller_of,
    keep_passing,
    left_to_motion,
    mean_acceleration,
)
from gatesim.chain.pipeline import Measured, Move, Rig, measure, motion_query, run
from gatesim.chain.remembered import Remembered
from gatesim.ground.arrays import Array, first_of, take
from gatesim.ground.draw import Nominal
from gatesim.motion import Belt, Force, Passage, Path, belt_among, passage
from gatesim.part import Part
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
    asked = np.stack([positions, _in_step(positions, rig, np.array([0.0, first, last]))])
    asked[1, ends] = first, last
    rows = np.zeros(2, np.intp)
    forces = tuple(take(force, rows) for force in rig.forces)
    both = move(take(rig.part, rows), take(rig.path, rows), forces, asked)
    keep_passing(scenario, mean_acceleration(both.time[1, ends], both.speed[1, ends]))
    constants = controller_of(scenario).constants
    own = replace(take(both, slice(1)), belt=belt_among(rig.forces))
    return measure(scenario, draw, replace(query, rig=replace(rig, constants=constants)), own)


def _in_step(positions: Array, rig: Rig, nodes: Array) -> Array:
    """For each of ``positions`` (p,) the node before it at which another trial pauses anyway.

    To pause there once more changes nothing of that trial, and both meet the kinks of the forces in step.
    ``nodes`` (k,): its own, the last one at the end; the kinks up to there come to them.
    """
    kinks = [first_of(kink) for force in rig.forces for kink in force.kinks(rig.part)]
    every = np.sort(np.concatenate([nodes, np.clip(kinks, 0.0, nodes[-1])]))
    before: Array = every[np.maximum(np.searchsorted(every, positions, "right") - 1, 0)]
    return before


def controller_in(passed: Measured) -> Controller:
    """The one that a passage was read by: that of its scenario, unless another was asked for."""
    return Controller(passed.rig.constants)


def remembering(scenario: Scenario, passed: Measured) -> Remembered:
    """A motion that knows the nominal passage of a scenario already."""
    query, found = motion_query(scenario, Nominal(1), controller=controller_in(passed)), Remembered()
    found.learn(query.rig.part, query.rig.path, query.rig.forces, query.positions, passed.motion)
    return found


@dataclass(frozen=True)
class Again:
    """A `Move` for trials at their medians, as often as they come: the nominal passage once more.

    Its times at the switching positions are those of ``passed``, good to 1e-9 but with other last bits than
    a motion that pauses there alone.
    """

    passed: Measured

    def __call__(self, part: Part, path: Path, forces: tuple[Force | Belt, ...], positions: Array) -> Passage:
        """See `gatesim.motion.passage`; positions (n, p) as `motion_query` has them without ``ends``."""
        motion, ends = self.passed.motion, (*self.passed.front, *self.passed.rear)
        switched = np.delete(np.arange(motion.time.shape[1]), ends)
        repeated = take(motion, np.zeros(len(positions), np.intp))
        return replace(repeated, time=repeated.time[:, switched], speed=repeated.speed[:, switched])
