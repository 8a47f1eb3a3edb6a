"""A part's way from node to node: one span after the other, and how each ends."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Flags, Scalar
from gatesim.motion.belt.meeting import Meeting
from gatesim.motion.force.base import Force
from gatesim.motion.integrate.advance import ARRIVED, STOPPED, Arrival, advance
from gatesim.motion.integrate.span import Dynamics, dynamics_between
from gatesim.motion.integrate.strength import Line, line_through, within
from gatesim.motion.path import Body, Path


@dataclass
class SpanState:
    """Where trials are on a span: distance into it (m), time since release (s), speed (m/s), all (n,)."""

    u: Array
    t: Array
    v: Array


@dataclass
class Journey:
    """n trials under way along nodes (k + 1, n).

    lying: share of the part that lies on a belt instead of the path, at positions (n,) (None: no belt).
    weight, resistance: downhill weight and friction force of the part, in N. holding: what friction at
    rest has beyond that.
    time, speed: (k + 1, n), NaN where not reached.
    stop_position, stop_time, ran_back: (n,) where and when the part came to rest (NaN: it did not),
    and whether it turns back there. hint: (n,) step size that served last. effort: (n,)
    steps taken, in explicit ones.
    """

    part: Body
    path: Path
    forces: tuple[Force, ...]
    nodes: Array
    lying: Callable[[Array], Array] | None
    weight: Scalar = field(init=False)
    resistance: Scalar = field(init=False)
    holding: Scalar = field(init=False)
    time: Array = field(init=False)
    speed: Array = field(init=False)
    stop_position: Array = field(init=False)
    stop_time: Array = field(init=False)
    ran_back: Flags = field(init=False)
    hint: Array = field(init=False)
    effort: Array = field(init=False)

    def __post_init__(self) -> None:
        n = self.nodes.shape[1]
        self.weight = self.path.weight(self.part.mass)
        self.resistance = self.path.resistance(self.part.mass)
        self.holding = self.path.holding(self.part)
        self.time, self.speed = np.full(self.nodes.shape, np.nan), np.full(self.nodes.shape, np.nan)
        self.time[0], self.speed[0] = 0.0, self.path.release_speed
        self.stop_position, self.stop_time = np.full(n, np.nan), np.full(n, np.nan)
        self.ran_back, self.hint = np.zeros(n, bool), np.full(n, np.inf)
        self.effort = np.zeros(n)

    def dynamics(self, j: int) -> Dynamics:
        """Acceleration on span j."""
        left = self.nodes[j]

        def drive(x: Array) -> Scalar:
            return self.weight - self._resistance(x)

        return dynamics_between(self.part, self.path, self.forces, drive, left, self.nodes[j + 1] - left)

    def share(self, j: int) -> Line:
        """Share of the part that lies on the belt, on span j."""
        left, size = self.nodes[j], self.nodes[j + 1] - self.nodes[j]
        assert self.lying is not None, "asked for by a belt"
        near, far = (self.lying(x) for x in within(left, size))
        return line_through(near, far, 1.0, size)

    def _resistance(self, x: Array) -> Scalar:
        """Friction force of the path at positions x (n,), in N."""
        return self.resistance if self.lying is None else self.resistance * (1 - self.lying(x))

    def begin_span(self, j: int) -> Flags:
        """Carry over what a span of no size leaves as it is; returns the trials that have way to go."""
        self.time[j + 1], self.speed[j + 1] = self.time[j], self.speed[j]
        moving: Flags = (self.nodes[j + 1] > self.nodes[j]) & ~np.isnan(self.speed[j])
        return moving

    def at_start(self, j: int) -> SpanState:
        """Trials at the start of span j."""
        return SpanState(np.zeros_like(self.hint), self.time[j].copy(), self.speed[j].copy())

    def cross(
        self,
        j: int,
        dynamics: Dynamics,
        rows: Flags,
        meeting: Callable[[NDArray[np.intp]], Meeting] | None = None,
        begin: SpanState | None = None,
    ) -> tuple[NDArray[np.intp], Arrival] | None:
        """Advance trials over span j; returns who went and how it ended, None if nobody did.

        meeting: makes, for the trials that do move, what may end their span early.
        begin: where on the span they are, if not at its start; the arrival counts from there.
        """
        if begin is None:
            begin = SpanState(np.zeros_like(self.hint), self.time[j], self.speed[j])
        else:
            dynamics = dynamics.shifted(begin.u)
        v, left = begin.v, self.nodes[j] + begin.u
        if not v[rows].all():  # at rest: only a downhill force sets the part in motion
            held = np.flatnonzero(rows & (v == 0) & (dynamics.acceleration(None, v) <= self._holding(left)))
            self._rest(j, held, left[held], begin.t[held], dynamics.take(held).steady.start)
            rows = rows & np.isnan(self.stop_position)
        if not rows.any():
            return None
        going = np.flatnonzero(rows)
        some = slice(None) if rows.all() else going
        end = advance(
            dynamics if rows.all() else dynamics.take(some),
            (self.nodes[j + 1] - left)[some],
            v[some],
            self.hint[some],
            None if meeting is None else meeting(going),
        )
        self.time[j + 1, some] = begin.t[some] + end.dt
        self.speed[j + 1, some] = end.v
        self.hint[some] = end.hint
        self.effort[some] += end.effort
        if end.ending.any():
            self._end_early(j, dynamics, left, going, end)
        return going, end

    def _end_early(
        self, j: int, dynamics: Dynamics, left: Array, going: NDArray[np.intp], end: Arrival
    ) -> None:
        stopped = end.ending == STOPPED
        rows, u = going[stopped], end.u[stopped]
        a = dynamics.take(rows).acceleration(u, np.zeros_like(u))
        self._rest(j, rows, left[rows] + u, self.time[j + 1, rows], a)
        self.lose(j, going[end.ending != ARRIVED])

    def lose(self, j: int, rows: NDArray[np.intp]) -> None:
        """These trials do not reach the end of span j this way."""
        self.time[j + 1, rows] = self.speed[j + 1, rows] = np.nan

    def _rest(self, j: int, rows: NDArray[np.intp], position: Array, time: Array, a: Array) -> None:
        """Note where trials came to rest; ``a`` is the acceleration with friction holding them back.

        Friction turns round with the motion: a part slides back when the other forces exceed it.
        """
        self.stop_position[rows], self.stop_time[rows] = position, time
        self.lose(j, rows)
        x = np.full(self.hint.shape, np.nan)
        x[rows] = position
        with np.errstate(over="ignore", invalid="ignore"):  # friction beyond reason: it rests
            turned = np.broadcast_to(2 * self._resistance(x) / self._inertia(x), x.shape) + self._holding(x)
            self.ran_back[rows] = a + turned[rows] < -1e-12 * np.abs(a)

    def _inertia(self, x: Array) -> Scalar:
        """Mass to accelerate (n,) at positions x (n,), in kg."""
        own = self.part.mass * (1 + self.part.inertia_factor)
        return own + sum(force.added_mass(x) for force in self.forces)

    def _holding(self, x: Array) -> Scalar:
        """Acceleration (n,) that friction at rest has beyond that in motion, at positions x (n,)."""
        more = self.holding if self.lying is None else self.holding * (1 - self.lying(x))
        return more / self._inertia(x)
