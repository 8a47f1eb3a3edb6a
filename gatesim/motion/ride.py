"""On a belt: slipping until the speeds match, carried from then on."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.motion.advance import MET
from gatesim.motion.belt import Belt
from gatesim.motion.field import Field, Flags, Line
from gatesim.motion.journey import Journey
from gatesim.motion.trials import Array, take


@dataclass(frozen=True)
class CatchUp:
    """Speeds of belt and part draw level; all (n,): direction of the pull, time at the span's start."""

    belt: Belt
    sign: Array
    since: Array

    def gap(self, rows: NDArray[np.intp], v: Array, dt: Array) -> Array:
        """Belt speed less part speed, positive while the belt pulls in direction ``sign``."""
        gap: Array = self.sign[rows] * (take(self.belt, rows).velocity(self.since[rows] + dt) - v)
        return gap

    def room(self, rows: NDArray[np.intp], v: Array, dt: Array) -> Array:
        """Gap that is left when ripple and run-up are at their worst."""
        least, most = take(self.belt, rows).band(self.since[rows] + dt)
        return np.where(self.sign[rows] > 0, least - v, v - most)

    def reach(self, rows: NDArray[np.intp], v: Array, a: Array, dt: Array) -> Array:
        """Way to the band of speeds of a rippled belt; within it, that of a twentieth of a period."""
        belt, room = take(self.belt, rows), self.room(rows, v, dt)
        with np.errstate(divide="ignore", invalid="ignore"):
            brief = np.where(belt.ripple == 0, np.inf, 0.05 / np.abs(np.asarray(belt.ripple_frequency)))
            within = v * brief + 0.5 * np.abs(a) * brief**2
            outside = 0.9 * room * np.abs(2 * v + self.sign[rows] * room) / (2 * np.abs(a))
            far = np.where(room > 0, np.fmax(within, outside), within)
        return np.where(far > 0, far, np.inf)


@dataclass
class Ride:
    """State of n trials on a belt.

    pull: largest acceleration the belt's friction gives, m/s^2. sign: +1 where the belt is the
    faster, -1 where the part is, 0 where they have not met. caught_position, caught_time: where the
    speeds first matched (NaN: nowhere). grip: friction needed to carry the part relative to ``pull``.
    """

    belt: Belt
    pull: Array
    sign: Array
    caught_position: Array
    caught_time: Array
    grip: Array

    @classmethod
    def begin(cls, belt: Belt, trip: Journey) -> "Ride":
        """Nobody on the belt yet."""
        n = trip.nodes.shape[1]
        press = belt.friction * trip.path.press(trip.part.mass)
        pull = np.broadcast_to(press / (trip.part.mass * (1 + trip.part.inertia_factor)), n)
        return cls(belt, pull, np.zeros(n), *(np.full(n, np.nan) for _ in range(3)))

    @property
    def carried(self) -> Flags:
        """Trials that the belt carries."""
        return ~np.isnan(self.caught_position)

    def span(self, trip: Journey, j: int, world: Field, moving: Flags) -> Flags:
        """Take trials over span j as far as they slip; returns those that are not on the belt."""
        aboard = moving & (trip.nodes[j] >= self.belt.start)
        if not aboard.any():
            return moving
        self._enter(trip, j, world, aboard & (self.sign == 0) & ~self.carried)
        slipping = aboard & ~self.carried
        trip.lose(j, np.flatnonzero(self.carried))
        if slipping.any():
            start = world.steady.start + self.sign * self.pull
            pulled = Field(Line(start, world.steady.slope), world.terms)
            self._slip(trip, j, pulled, slipping)
        elsewhere: Flags = moving & ~aboard
        return elsewhere

    def _slip(self, trip: Journey, j: int, world: Field, rows: Flags) -> None:
        crossed = trip.cross(
            j, world, rows, lambda some: CatchUp(take(self.belt, some), self.sign[some], trip.time[j, some])
        )
        if crossed is None:
            return
        going, end = crossed
        caught = end.ending == MET
        now = going[caught]
        self.caught_position[now] = trip.nodes[j, now] + end.u[caught]
        self.caught_time[now] = trip.time[j, now] + end.dt[caught]

    def _enter(self, trip: Journey, j: int, world: Field, rows: Flags) -> None:
        """Decide at the belt's start which way it pulls, or that it carries the part at once."""
        t, v = trip.time[j], trip.speed[j]
        gap = self.belt.velocity(t) - v
        lacking = self.belt.acceleration(t) - world.acceleration(None, v)
        level = rows & (gap == 0)
        sticks = level & (np.abs(lacking) <= self.pull)
        self.sign = np.where(rows, np.sign(np.where(level, lacking, gap)), self.sign)
        self.caught_position[sticks] = trip.nodes[j, sticks]
        self.caught_time[sticks] = t[sticks]

    def finish(self, trip: Journey, worlds: list[Field]) -> None:
        """Times and speeds of the carried trials at the nodes after the catch, and their grip."""
        some = np.flatnonzero(self.carried)
        if not some.size:
            return
        belt, x = take(self.belt, some), trip.nodes[:, some]
        position, since = self.caught_position[some], self.caught_time[some]
        later = x >= position
        way = belt.travel(since) + np.maximum(x - position, 0.0)
        time = belt.time_of(way, since)
        speed = belt.velocity(time)
        trip.time[:, some] = np.where(later, time, trip.time[:, some])
        trip.speed[:, some] = np.where(later, speed, trip.speed[:, some])
        least, most = belt.steepest(since)
        grip = np.zeros(some.size)
        for j, world in enumerate(worlds):
            local = world.take(some)
            for end, u in ((j, np.maximum(position - x[j], 0.0)), (j + 1, x[j + 1] - x[j])):
                free = local.acceleration(u, speed[end])
                need = np.maximum(np.abs(least - free), np.abs(most - free)) / self.pull[some]
                np.copyto(grip, np.maximum(grip, need), where=later[j + 1] & (x[j + 1] > x[j]))
        self.grip[some] = grip
