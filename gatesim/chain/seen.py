"""The motion of a simulated part as the gates see it."""

from gatesim.chain.pipeline import Measured
from gatesim.formula import SeenMotion
from gatesim.ground.arrays import first_of


def seen_motion(passed: Measured) -> SeenMotion:
    """That of the first trial; NaN where an end does not come so far."""
    time, speed, front, rear = passed.motion.time, passed.motion.speed, passed.front, passed.rear
    first, second = passed.rig.gates[:2]
    return SeenMotion(
        first_of(first),
        first_of(second - first),
        float(passed.true_length[0]),
        float(time[0, rear[0]] - time[0, front[0]]),
        float(time[0, front[1]] - time[0, front[0]]),
        float(speed[0, front[0]]),
        float(speed[0, rear[0]]),
    )
