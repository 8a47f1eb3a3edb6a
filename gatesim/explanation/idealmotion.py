"""The motion that a formula takes for granted, as near to the real one as it can be."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from gatesim.chain.pipeline import Move, Passed
from gatesim.formula import Constants
from gatesim.ground.arrays import Array
from gatesim.ground.outcome import Outcome
from gatesim.motion import Passage

# what each formula assumes of the motion; the others hold for a uniform one
_KNOWN, _FROM_REST, _CONSTANT = "known-acceleration", "fixed-release", ("four-edge", "three-gates")


def ideal_motion(formula: str, real: Passed, constants: Constants) -> Move:
    """Motion under which the formula is exact, one that keeps the real times at the gates.

    The leading end passes gates 1 and 2 when it really does. In between, and beyond, its
    acceleration is constant: none for a formula that knows of none, the assumed one for
    known-acceleration, that of a release from rest for fixed-release, and for the formulas
    that work it out the one with which the trailing end passes gate 1 at its real time too.
    """
    first = float(np.ravel(real.rig.gates[0])[0])
    spacing = float(np.ravel(real.rig.gates[1])[0]) - first
    length = float(real.true_length[0])
    at, leave = real.motion.time[0, real.front[0]], real.motion.time[0, real.rear[0]]
    transit, dwell = real.motion.time[0, real.front[1]] - at, leave - at
    mean = spacing / transit
    acceleration = 0.0
    if formula == _KNOWN:
        acceleration = constants.acceleration
    elif formula == _FROM_REST:
        root = (np.sqrt(first + spacing) - np.sqrt(first)) / transit
        acceleration = 2.0 * root**2
    elif formula in _CONSTANT and dwell != transit:
        acceleration = 2.0 * (length / dwell - mean) / (dwell - transit)
    speed = mean - 0.5 * acceleration * transit
    if formula == _FROM_REST:
        speed = np.sqrt(2.0 * acceleration * first)
    reach = first + spacing + length
    return _constant(first, float(at), float(speed), float(acceleration), reach)


def _constant(first: float, at: float, speed: float, acceleration: float, reach: float) -> Move:
    def move(part: Any, path: Any, forces: Sequence[Any], positions: Array) -> Passage:
        beyond = np.broadcast_to([0.5 * first, first, first + 2.0 * reach], (len(positions), 3))
        nodes = np.sort(np.concatenate([positions, beyond], axis=1), axis=1)
        time, v = _crossing(positions)
        node_time, node_speed = _crossing(nodes)
        nothing = np.full(len(positions), np.nan)
        return Passage(
            time=time,
            speed=v,
            outcome=np.full(len(positions), int(Outcome.MEASURED), np.int64),
            stop_position=nothing,
            stop_time=nothing,
            caught_position=nothing,
            caught_time=nothing,
            grip=nothing,
            brake_ratio=nothing,
            brake_acceleration=nothing,
            node_position=nodes,
            node_time=node_time,
            node_speed=node_speed,
            belt=None,
        )

    def _crossing(positions: Array) -> tuple[Array, Array]:
        gone = positions - first
        with np.errstate(invalid="ignore"):  # a part that slows down does not come so far
            v = np.sqrt(speed**2 + 2.0 * acceleration * gone)
        # this form of the quadratic's root holds for no acceleration too
        return at + 2.0 * gone / (speed + v), v

    return move
