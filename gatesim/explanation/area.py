"""The area argument: under the speed curve lies the travel, so that a wrong speed is a missing area."""

from dataclasses import dataclass

import numpy as np

from gatesim.chain.pipeline import Measured
from gatesim.chain.timetable import Timetable, timetable
from gatesim.ground.arrays import Array, first_of

POINTS = 241


@dataclass(frozen=True)
class SpeedCurve:
    """Motion of the first trial's leading end, SI.

    ``time``, ``position``, ``speed`` (k,): from release to where the trailing end leaves the
    last gate, or to where the part stops. ``enters``: leading end at gate 1, ``second``: at
    gate 2, ``leaves``: trailing end at gate 1; NaN where that never happens. The area under
    the curve from ``enters`` to ``leaves`` is ``length``, from ``enters`` to ``second``
    ``spacing``.
    """

    time: Array
    position: Array
    speed: Array
    gates: tuple[float, ...]
    length: float
    spacing: float
    enters: float
    second: float
    leaves: float

    @property
    def early(self) -> float:
        """Mean speed over the spacing, m/s: height of the rectangle that s T / t_s takes."""
        return self.spacing / (self.second - self.enters)

    @property
    def rectangle(self) -> float:
        """Area of that rectangle over the dwell in m: what s T / t_s reads, but for all other effects."""
        return self.early * (self.leaves - self.enters)

    def within(self, start: float, end: float) -> tuple[Array, Array]:
        """Times and speeds of the curve from ``start`` to ``end``, both ends included."""
        inside = (self.time > start) & (self.time < end)
        time = np.concatenate([[start], self.time[inside], [end]])
        return time, np.interp(time, self.time, self.speed)


def curve_positions(passed: Measured) -> Array:
    """Positions (p,) in m at which a speed curve needs the motion, ascending."""
    gates, length = [first_of(gate) for gate in passed.rig.gates], float(passed.true_length[0])
    marks = [gates[0], gates[1], gates[0] + length]
    # even steps in time for a part that starts from rest
    return np.unique(np.append((gates[-1] + length) * np.linspace(0.0, 1.0, POINTS) ** 2, marks))


def speed_curve(passed: Measured, found: Timetable | None = None) -> SpeedCurve:
    """Speed and position of the first trial over time; parts of it where it stops on the way.

    ``found``: when it is at `curve_positions`, where that is known already.
    """
    rig, motion, positions = passed.rig, passed.motion, curve_positions(passed)
    gates, length = tuple(first_of(gate) for gate in rig.gates), float(passed.true_length[0])
    found = timetable(rig, positions) if found is None else found
    reached = np.isfinite(found.time)
    time, position, speed = found.time[reached], positions[reached], found.speed[reached]
    if found.stop_position <= positions[-1]:
        time, position = np.append(time, found.stop_time), np.append(position, found.stop_position)
        speed = np.append(speed, 0.0)
    return SpeedCurve(
        time,
        position,
        speed,
        gates,
        length,
        gates[1] - gates[0],
        float(motion.time[0, passed.front[0]]),
        float(motion.time[0, passed.front[1]]),
        float(motion.time[0, passed.rear[0]]),
    )
