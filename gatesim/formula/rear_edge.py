"""Dwell times the mean of two speeds: leading edge and trailing edge over the spacing.

L = (T/2) (s/t_s + s/t_r), t_r the trailing edge's time from gate one to gate two. The
second speed is taken later than the dwell ends, so that under constant acceleration it
reads long by a T (t_s + t_r) / 4: far less than `spacing_dwell` for a long part.
Common practice, no source; the bias follows from x = v t + a t^2 / 2.
"""

from gatesim.formula.base import Constants, Counts, Formula, ratio
from gatesim.ground.arrays import Array


def length(counts: Counts, constants: Constants) -> Array:
    """Mean of the readings with the front speed and with the rear speed."""
    front = ratio(counts.dwell, counts.capture)
    rear = ratio(counts.dwell, counts.rear_capture - counts.dwell)
    return 0.5 * constants.spacing * (front + rear)


FORMULA = Formula(
    name="rear-edge",
    equation="L = (T/2) (s/t_s + s/t_r)",
    needs="dwell at gate 1, captures of both edges at gate 2, counting on after the dwell",
    registers=("dwell", "capture", "rear_capture"),
    constants=("spacing",),
    length=length,
)
