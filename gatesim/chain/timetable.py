"""When one part is at many positions: for pictures and traces."""

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from gatesim.ground.arrays import Array, take
from gatesim.motion import Belt, Force, Path, passage
from gatesim.part import Part

EACH = 4
"""Positions asked of one trial: few, since each is a pause of the integration, which costs as much for
all trials as for one; not one alone, since every trial goes all the way."""


class Moved(Protocol):
    """What moves a part: a rig, of which the first trial is taken."""

    @property
    def part(self) -> Part:
        """The part."""
        ...

    @property
    def path(self) -> Path:
        """Its path."""
        ...

    @property
    def forces(self) -> tuple[Force | Belt, ...]:
        """What acts on it."""
        ...


@dataclass(frozen=True)
class Timetable:
    """``time`` and ``speed`` (p,) of the leading end at p positions, NaN where it never comes; SI.

    ``stop_time``, ``stop_position``: where it comes to rest before the last of them, else NaN.
    """

    time: Array
    speed: Array
    stop_time: float
    stop_position: float

    def split(self, first: int) -> tuple["Timetable", "Timetable"]:
        """Of the first so many positions, and of the others."""
        pieces = (slice(first), slice(first, None))
        one, other = (replace(self, time=self.time[rows], speed=self.speed[rows]) for rows in pieces)
        return one, other


def timetable(rig: Moved, positions: Array) -> Timetable:
    """The motion of a rig's first trial at positions (p,) in m, in any order, in one go."""
    order = np.argsort(positions, kind="stable")
    trials = -(-len(positions) // EACH)
    # every trial has its share of each stretch, so that all meet the kinks of the forces in step
    padded = np.append(positions[order], np.full(trials * EACH - len(positions), positions[order[-1]]))
    rows = np.zeros(trials, np.intp)
    forces = tuple(take(force, rows) for force in rig.forces)
    found = passage(take(rig.part, rows), take(rig.path, rows), forces, padded.reshape(EACH, trials).T)
    back = np.empty(len(positions), np.intp)
    back[order] = np.arange(len(positions))
    time, speed = found.time.T.ravel()[back], found.speed.T.ravel()[back]
    return Timetable(time, speed, float(found.stop_time[-1]), float(found.stop_position[-1]))
