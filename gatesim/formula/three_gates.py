"""Speed and acceleration from the leading edge at three gates, then length from the dwell.

x = v t + a t^2 / 2 through (t_s, s) and (t_3, s_3); L = v T + a T^2 / 2. Exact under any
constant acceleration.
"""

from gatesim.formula.base import Constants, Counts, Formula, dwell_length, ratio
from gatesim.ground.arrays import Array


def length(counts: Counts, constants: Constants) -> Array:
    """Solve the pair for v and a (per count), then v T + a T^2 / 2."""
    near, far = counts.capture, counts.third_capture
    near_speed, far_speed = ratio(constants.spacing, near), ratio(constants.rearm, far)
    acceleration = 2.0 * ratio(far_speed - near_speed, far - near)
    speed = near_speed - 0.5 * acceleration * near
    return dwell_length(speed, acceleration, counts.dwell)


FORMULA = Formula(
    name="three-gates",
    equation="s = v t_s + a t_s²/2,  s_3 = v t_3 + a t_3²/2,  L = v T + a T²/2",
    needs="dwell at gate 1, one capture each at gates 2 and 3",
    registers=("dwell", "capture", "third_capture"),
    constants=("spacing", "rearm"),
    length=length,
)
