"""The motion that a formula takes for granted, as near to the real one as it can be."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from gatesim.chain.pipeline import Measured, Move
from gatesim.chain.seen import seen_motion
from gatesim.formula import FORMULAS, AssumedMotion, Constants
from gatesim.ground.arrays import Array
from gatesim.motion import Passage


def ideal_motion(formula: str, real: Measured, constants: Constants) -> Move:
    """Motion under which the formula is exact, one that keeps the real times at the gates.

    The leading end passes gates 1 and 2 when it really does. In between, and beyond, its
    acceleration is constant and as the formula has it (`Formula.assumed_motion`).
    """
    seen = seen_motion(real)
    at = float(real.motion.time[0, real.front[0]])
    reach = seen.first + seen.spacing + seen.length
    return _constant(seen.first, at, FORMULAS[formula].assumed_motion(seen, constants), reach)


def _constant(first: float, at: float, assumed: AssumedMotion, reach: float) -> Move:
    speed, acceleration = assumed.speed, assumed.acceleration

    def move(part: Any, path: Any, forces: Sequence[Any], positions: Array) -> Passage:
        beyond = np.broadcast_to([0.5 * first, first, first + 2.0 * reach], (len(positions), 3))
        nodes = np.sort(np.concatenate([positions, beyond], axis=1), axis=1)
        return Passage.known(*_crossing(positions), (nodes, *_crossing(nodes)))

    def _crossing(positions: Array) -> tuple[Array, Array]:
        gone = positions - first
        with np.errstate(invalid="ignore"):  # a part that slows down does not come so far
            v = np.sqrt(speed**2 + 2.0 * acceleration * gone)
        # this form of the quadratic's root holds for no acceleration too
        return at + 2.0 * gone / (speed + v), v

    return move
