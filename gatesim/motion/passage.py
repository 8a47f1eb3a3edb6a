"""Passage of a part: when, and how fast, its leading end reaches each position."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, take, trial_count
from gatesim.ground.outcome import Outcome
from gatesim.ground.quantity import to_si
from gatesim.motion.belt.belt import Belt
from gatesim.motion.force.base import Force
from gatesim.motion.integrate.interpolation import hermite, points
from gatesim.motion.integrate.journey import Journey
from gatesim.motion.integrate.nodes import nodes_of, pick
from gatesim.motion.integrate.span import Dynamics, total_acceleration
from gatesim.motion.path import Body, Path

if TYPE_CHECKING:
    from gatesim.motion.belt.ride import Ride

CHUNK = 8192
"""Trials worked on together: enough to share the cost of a call, few enough for the cache."""


@dataclass(frozen=True)
class Passage:
    """What became of n trials; SI units, NaN where something did not happen.

    time, speed: (n, p) when and how fast the leading end passes the p positions asked for; NaN
        for positions that are NaN, behind the release, or never reached.
    outcome: (n,) codes of gatesim.ground.outcome.Outcome.
    stop_position, stop_time: (n,) where and when the part came to rest or turned back.
    caught_position, caught_time: (n,) where and when a belt had brought the part to its speed and from
        where on it carries the part; NaN too where the belt cannot, and the part slips on or again.
    grip: (n,) largest friction needed to carry the part, relative to what there is; above 1 it slips.
    brake_ratio: (n,) speed relative to the critical speed where the part last covered most of
        the brake (above 1: on the falling side of the peak); brake_acceleration: (n,) there, m/s^2.
    effort: (n,) what the motion took, in explicit steps; 0 where all of it is known in closed form.
    node_position, node_time, node_speed: (n, k) points of the motion, for ``travel_at``.
    """

    time: Array
    speed: Array
    outcome: NDArray[np.int64]
    stop_position: Array
    stop_time: Array
    caught_position: Array
    caught_time: Array
    grip: Array
    brake_ratio: Array
    brake_acceleration: Array
    effort: Array
    node_position: Array
    node_time: Array
    node_speed: Array
    belt: Belt | None

    @classmethod
    def known(cls, time: Array, speed: Array, nodes: tuple[Array, Array, Array] | None = None) -> "Passage":
        """Of trials of which crossings (n, p) are known, and nodes: position, time and speed (n, k)."""
        nothing, none = np.full(len(time), np.nan), np.empty((len(time), 0))
        position, at, v = (none, none, none) if nodes is None else nodes
        return cls(
            time=time,
            speed=speed,
            outcome=np.full(len(time), int(Outcome.MEASURED), np.int64),
            stop_position=nothing,
            stop_time=nothing,
            caught_position=nothing,
            caught_time=nothing,
            grip=nothing,
            brake_ratio=nothing,
            brake_acceleration=nothing,
            effort=np.zeros(len(time)),
            node_position=position,
            node_time=at,
            node_speed=v,
            belt=None,
        )

    def travel_at(self, t: Array) -> Array:
        """Position of the leading end (n, k) at times t (n, k) since release; 0 before it.

        Cubic Hermite interpolation between nodes, exact belt travel where the belt carries the part
        for good, the stop position after a stop; NaN after the last position asked for and after
        turning back.
        """
        caught = self.caught_position
        extra = [(self.stop_time, self.stop_position, np.zeros(caught.shape))]
        if self.belt is not None:
            extra.append((self.caught_time, caught, self.belt.velocity(self.caught_time)))
        x = hermite(t, *points((self.node_time, self.node_position, self.node_speed), *extra))
        stands = (self.outcome == Outcome.STOPPED)[:, None] & (t >= self.stop_time[:, None])
        x = np.where(stands, self.stop_position[:, None], x)
        if self.belt is not None:
            since = self.caught_time[:, None]
            ridden = (self.belt.travel(t.T) - self.belt.travel(self.caught_time)).T
            x = np.where((t >= since) & ~np.isnan(x), caught[:, None] + ridden, x)
        return np.where(t <= 0, 0.0, x)


def belt_among(forces: Sequence[Force | Belt]) -> Belt | None:
    """The belt of a rig, if it has one."""
    return next((force for force in forces if isinstance(force, Belt)), None)


def passage(
    part: Body, path: Path, forces: Sequence[Force | Belt], positions: NDArray[np.float64] | Sequence[float]
) -> Passage:
    """Move n parts along a path and note when they pass ``positions``.

    positions: (p,) or (n, p) travel of the leading end in m, in any order; NaN is not asked for.
    Fields of part, path and forces are floats or (n,) arrays. At most one belt.

    The equation of motion m (1 + c) dv/dt = weight - friction + forces is integrated over position,
    from kink to kink, with error control per trial: times and speeds are good to 1e-9 relative
    and do not depend on which other trials are computed along.

    Raises ValueError for arrays of different length or a second belt.
    """
    belts = [force for force in forces if isinstance(force, Belt)]
    others = tuple(force for force in forces if not isinstance(force, Belt))
    if len(belts) > 1:
        raise ValueError(f"{len(belts)} belts on one path; at most one can be computed")
    belt = belts[0] if belts else None
    asked = np.atleast_2d(np.asarray(to_si(positions, "m"), float))
    n = max(trial_count(part, path, *forces), asked.shape[0])
    asked = np.broadcast_to(asked, (n, asked.shape[1]))
    pieces = []
    for first in range(0, n, CHUNK):
        rows = slice(first, min(first + CHUNK, n))
        chosen = tuple(take(force, rows) for force in others)
        here = None if belt is None else take(belt, rows)
        pieces.append(_chunk(take(part, rows), take(path, rows), chosen, here, asked[rows]))
    return _join(pieces, belt)


def _chunk(part: Body, path: Path, forces: tuple[Force, ...], belt: Belt | None, asked: Array) -> Passage:
    kinks = [kink for force in forces for kink in force.kinks(part)]
    if belt is not None:
        kinks += belt.kinks(part)
    nodes, rows = nodes_of(tuple(kinks), asked)
    trip = Journey(part, path, forces, nodes, None if belt is None else belt.lying(part))
    dynamics = [trip.dynamics(j) for j in range(len(nodes) - 1)]
    ride = None if belt is None else _ride(belt, trip, dynamics)
    _travel(trip, dynamics, ride)
    marks = [] if ride is None else ride.marks
    ratio, acceleration, runaway = _crests(trip)
    unknown = np.full(nodes.shape[1], np.nan)
    return Passage(
        time=pick(trip.time, rows, asked),
        speed=pick(trip.speed, rows, asked),
        outcome=_outcome(trip, ride, runaway),
        stop_position=trip.stop_position,
        stop_time=trip.stop_time,
        caught_position=unknown if ride is None else ride.caught_position,
        caught_time=unknown if ride is None else ride.caught_time,
        grip=unknown if ride is None else ride.grip,
        brake_ratio=ratio,
        brake_acceleration=acceleration,
        effort=trip.effort,
        node_position=np.vstack([nodes, *(mark.u for mark in marks)]).T,
        node_time=np.vstack([trip.time, *(mark.t for mark in marks)]).T,
        node_speed=np.vstack([trip.speed, *(mark.v for mark in marks)]).T,
        belt=belt,
    )


def _ride(belt: Belt, trip: Journey, dynamics: list[Dynamics]) -> "Ride":
    from gatesim.motion.belt.ride import Ride  # deferred: costs start-up time, and most rigs have no belt

    return Ride.begin(belt, trip, dynamics)


def _travel(trip: Journey, dynamics: list[Dynamics], ride: "Ride | None") -> None:
    """Span by span to the last node."""
    for j in range(len(trip.nodes) - 1):
        moving = trip.begin_span(j)
        if ride is not None:
            moving = ride.span(trip, j, moving)
        if moving.any():
            trip.cross(j, dynamics[j], moving)
    if ride is not None:
        ride.finish(trip)


def _crests(trip: Journey) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Speed over that of a force's crest, and acceleration, where it was last judged; who runs away."""
    n = trip.nodes.shape[1]
    ratio, acceleration, runaway = np.full(n, np.nan), np.full(n, np.nan), np.zeros(n, bool)
    for force in trip.forces:
        crest = force.crest(trip.part)
        if crest is None:
            continue
        x, v = np.full(n, np.nan), np.full(n, np.nan)
        for node, speed in zip(trip.nodes, trip.speed, strict=True):
            covering = (node >= crest.low) & (node <= crest.high) & ~np.isnan(speed)
            np.copyto(x, node, where=covering)
            np.copyto(v, speed, where=covering)
        found = ~np.isnan(x)
        if found.any():
            a = total_acceleration(trip.part, trip.path, trip.forces, x, v)
            np.copyto(ratio, v / crest.speed, where=found)
            np.copyto(acceleration, a, where=found)
            runaway |= found & (v > crest.speed) & (a > 0)
    return ratio, acceleration, runaway


def _outcome(trip: Journey, ride: "Ride | None", runaway: NDArray[np.bool_]) -> NDArray[np.int64]:
    outcome = np.where(runaway, Outcome.RUNAWAY, Outcome.MEASURED).astype(np.int64)
    if ride is not None:
        outcome[ride.slips] = Outcome.SLIPPING
    outcome[~np.isnan(trip.stop_position)] = Outcome.STOPPED
    outcome[trip.ran_back] = Outcome.RAN_BACK
    return outcome


def _join(pieces: list[Passage], belt: Belt | None) -> Passage:
    if len(pieces) == 1:
        return pieces[0]
    names = [field.name for field in fields(Passage) if field.name != "belt"]
    # the transposes, because the nodes lie in memory one node after the other
    joined: dict[str, Any] = {
        name: np.concatenate(_even([getattr(p, name).T for p in pieces]), axis=-1).T for name in names
    }
    return Passage(**joined, belt=belt)


def _even(pieces: list[Array]) -> list[Array]:
    """Pieces (k, n) with NaN below until each has as many rows: some trials slip and stick often."""
    rows = max(len(piece) for piece in pieces)
    if pieces[0].ndim == 1 or all(len(piece) == rows for piece in pieces):
        return pieces
    return [np.pad(piece, ((0, rows - len(piece)), (0, 0)), constant_values=np.nan) for piece in pieces]
