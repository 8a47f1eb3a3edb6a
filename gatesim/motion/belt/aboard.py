"""What is known of trials on a belt: which way it pulls, since when it holds, and what that takes."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Flags, take
from gatesim.motion.belt.belt import Belt
from gatesim.motion.belt.swing import share_needed
from gatesim.motion.integrate.journey import Journey, SpanState
from gatesim.motion.integrate.span import Dynamics
from gatesim.motion.integrate.strength import Line


@dataclass
class Aboard:
    """State of n trials on a belt.

    pull: largest acceleration the belt's friction gives a part that lies on it wholly, m/s^2; shares: how
    much of it does, on each span. dynamics: what acts on each span besides the belt.
    sign: +1 where the belt is the faster, -1 where the part is, 0 where they have not met.
    caught_position, caught_time: from where on the belt carries the part for good (NaN: nowhere);
    time, speed: (k + 1, n) at the nodes then. grip: friction needed to carry the part from its last
    meeting with the belt on, relative to ``pull``.
    holding: carried, but friction may not suffice later; held_position, held_time, held_need: since
    where and when, and the largest friction it took so far, relative to what there was. lost: whether the
    grip has been lost before. judged: span on which the grip was last found, where it stays the same to
    the end of the span, else -1. marks: points of the motion (u from release) at which trials begin or
    cease to slip.
    """

    belt: Belt
    pull: Array
    shares: list[Line]
    dynamics: list[Dynamics]
    sign: Array
    caught_position: Array
    caught_time: Array
    held_position: Array
    held_time: Array
    held_need: Array
    grip: Array
    time: Array
    speed: Array
    holding: Flags
    lost: Flags
    judged: NDArray[np.intp]
    marks: list[SpanState]

    @classmethod
    def begin(cls, belt: Belt, trip: Journey, dynamics: list[Dynamics]) -> Self:
        """Nobody on the belt yet; ``dynamics``: what acts on each span besides the belt."""
        n = trip.nodes.shape[1]
        press = belt.friction * trip.path.press(trip.part.mass)
        pull = np.broadcast_to(press / (trip.part.mass * (1 + trip.part.inertia_factor)), n)

        def unknown() -> Array:
            return np.full(n, np.nan)

        return cls(
            belt, pull, [trip.share(j) for j in range(len(dynamics))], dynamics, np.zeros(n),
            caught_position=unknown(), caught_time=unknown(),
            held_position=unknown(), held_time=unknown(), held_need=unknown(), grip=unknown(),
            time=np.full(trip.nodes.shape, np.nan), speed=np.full(trip.nodes.shape, np.nan),
            holding=np.zeros(n, bool), lost=np.zeros(n, bool), judged=np.full(n, -1), marks=[],
        )  # fmt: skip

    def _pull(self, j: int) -> Line:
        """Largest acceleration the belt's friction gives on span j."""
        share = self.shares[j]
        return Line(share.start * self.pull, None if share.slope is None else share.slope * self.pull)

    def _even(self, j: int) -> Flags:
        """Trials (n,) for which nothing but the belt changes on span j."""
        even, slope = self.dynamics[j].uniform(), self.shares[j].slope
        return even if slope is None else even & (slope == 0)

    def _level(self, j: int) -> Flags:
        """Trials (n,) for which nothing on span j depends on where they are."""
        return self.dynamics[j].level() & self.shares[j].level()

    @property
    def carried(self) -> Flags:
        """Trials that the belt carries for good."""
        return ~np.isnan(self.caught_position)

    @property
    def slips(self) -> Flags:
        """Trials that came onto the belt and were not carried for good before the last position."""
        came: Flags = (self.sign != 0) | self.lost
        return came & ~self.carried

    def _enter(self, trip: Journey, j: int, now: SpanState, rows: Flags) -> None:
        """Decide at the belt's start which way it pulls, or that it carries the part at once."""
        if not rows.any():
            return
        gap = self.belt.velocity(now.t) - now.v
        self.sign = np.where(rows, np.sign(gap), self.sign)
        level = np.flatnonzero(rows & (gap == 0))
        self._meet(trip, j, now, level)
        slipping = level[~self.carried[level] & ~self.holding[level]]
        self.lost[slipping], self.grip[slipping] = False, np.nan  # it has not met the belt yet

    def _meet(self, trip: Journey, j: int, now: SpanState, rows: NDArray[np.intp]) -> None:
        """Speeds are level: decide whether the belt carries the part, or which way it slips on."""
        if not rows.size:
            return
        self.held_position[rows], self.held_time[rows] = trip.nodes[j, rows] + now.u[rows], now.t[rows]
        self.held_need[rows] = 0.0
        # with nothing but the ripple changing, what was found too little on this span still is
        anew = (self.judged[rows] != j) | ~(self.grip[rows] > 1)
        self._judge(trip, j, now, rows[anew])
        run_up = np.broadcast_to(now.t >= self.belt.ramp, self.sign.shape)
        self.judged[rows] = np.where(run_up & self._even(j), j, -1)[rows]
        rest = rows[~self.carried[rows]]
        if rest.size:
            free = self.dynamics[j].take(rest).acceleration(now.u[rest], now.v[rest])
            lacking = take(self.belt, rest).acceleration(now.t[rest]) - free
            self.holding[rest] = np.abs(lacking) <= self._pull(j).take(rest).at(now.u[rest])
            self._let_go(trip, j, now, rest[~self.holding[rest]], lacking[~self.holding[rest]])
            self._mark(trip, j, now, rest)

    def _judge(self, trip: Journey, j: int, now: SpanState, rows: NDArray[np.intp]) -> None:
        """Find the friction needed to the last node; where there is as much, trials are caught for good."""
        if not rows.size:
            return
        belt, x = take(self.belt, rows), trip.nodes[j:, rows]
        position = trip.nodes[j, rows] + now.u[rows]
        way = belt.travel(now.t[rows]) + np.maximum(x - position, 0.0)
        time, speed = belt.arrival(way, now.t[rows])
        least, most = belt.steepest(now.t[rows])
        grip = np.zeros(rows.size)
        for i, dynamics in enumerate(self.dynamics[j:]):
            local, pull = dynamics.take(rows), self._pull(j + i).take(rows)
            ends = [(i + 1, x[i + 1] - x[i])]
            if not self._even(j + i).all():
                ends.append((i, np.maximum(position - x[i], 0.0)))
            for end, u in ends:
                free = local.acceleration(u, speed[end])
                need = np.maximum(np.abs(least - free), np.abs(most - free))
                need = share_needed(need, pull.at(u))
                np.copyto(grip, np.maximum(grip, need), where=(x[i + 1] >= position) & (x[i + 1] > x[i]))
        self.grip[rows] = grip
        good = grip <= 1
        caught = rows[good]
        self.caught_position[caught] = self.held_position[caught]
        self.caught_time[caught] = self.held_time[caught]
        self.holding[caught] = False
        self.time[j:, caught], self.speed[j:, caught] = time[:, good], speed[:, good]

    def _let_go(self, trip: Journey, j: int, now: SpanState, rows: NDArray[np.intp], lacking: Array) -> None:
        self.sign[rows] = np.sign(lacking)
        self.holding[rows], self.lost[rows] = False, True

    def _mark(self, trip: Journey, j: int, now: SpanState, rows: NDArray[np.intp]) -> None:
        mark = SpanState(*np.full((3, self.sign.size), np.nan))
        mark.u[rows], mark.t[rows], mark.v[rows] = trip.nodes[j, rows] + now.u[rows], now.t[rows], now.v[rows]
        self.marks.append(mark)

    def finish(self, trip: Journey) -> None:
        """Times and speeds of the carried trials at the nodes after the catch."""
        later = self.carried & (trip.nodes >= self.caught_position) & ~np.isnan(self.time)
        np.copyto(trip.time, self.time, where=later)
        np.copyto(trip.speed, self.speed, where=later)
        kept = self.holding & ~self.lost  # the bound was too wide: friction sufficed all the way
        self.grip[kept] = self.held_need[kept]
        self.caught_position[kept], self.caught_time[kept] = self.held_position[kept], self.held_time[kept]
