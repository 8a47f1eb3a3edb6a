"""Speed, acceleration and length from the leading and trailing edge at both gates.

Three intervals fix the three unknowns of x = v t + a t^2 / 2: the front has moved s at
t_s, the rear L at T and L + s at T + t_r. Exact under any constant acceleration.
"""

from gatesim.formula.base import Constants, Counts, Formula, dwell_length, ratio
from gatesim.ground.arrays import Array


def length(counts: Counts, constants: Constants) -> Array:
    """Solve the linear pair for v and a (per count), then v T + a T^2 / 2."""
    front_speed = ratio(constants.spacing, counts.capture)
    rear_speed = ratio(constants.spacing, counts.rear_capture - counts.dwell)
    # each mean speed holds at the middle of its interval; front and rear share one motion
    middles = 0.5 * (counts.rear_capture + counts.dwell - counts.capture)
    acceleration = ratio(rear_speed - front_speed, middles)
    speed = front_speed - 0.5 * acceleration * counts.capture
    return dwell_length(speed, acceleration, counts.dwell)


FORMULA = Formula(
    name="four-edge",
    equation="s = v t_s + a t_s²/2,  s = v t_r + a t_r (2T + t_r)/2,  L = v T + a T²/2",
    needs="dwell at gate 1, captures of both edges at gate 2, counting on after the dwell",
    registers=("dwell", "capture", "rear_capture"),
    constants=("spacing",),
    length=length,
)
