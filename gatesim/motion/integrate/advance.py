"""Advance many trials over one span, each with its own step size."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Flags, take
from gatesim.motion.belt.meeting import Meeting, refine
from gatesim.motion.integrate.collocation import move
from gatesim.motion.integrate.outlook import outlook
from gatesim.motion.integrate.settled import LONG, MUCH, leap
from gatesim.motion.integrate.span import Dynamics
from gatesim.motion.integrate.step import end_speed

TOLERANCE = 1e-9
"""Largest error estimate of a step, relative to speed; the true error is nearly always far smaller."""

STOP = 1e-9
"""A part has stopped when the distance it can still go is below this share of the span."""

STOP_METRES = 1e-8
"""It has also stopped when nothing drives it this distance ahead, and it is slow enough to rest there."""

MOST_STEPS = 2_000
"""In a span, before it is refused. Motions of parts from a microgram on take some hundreds in all."""

EVERY = 8
"""Steps from one try to go a long way at once to the next, but for those at the start of a span."""

PATIENCE = 62
"""Steps after which to look again whether the motion is stiff, and not to wait until a part has settled."""

IMPLICIT, A_LEAP = 6.0, 4.0
"""What an implicit step, and a long way at once, take in a batch, in explicit steps (measured)."""

UNDER_WAY, ARRIVED, STOPPED, MET = -1, 0, 1, 2


@dataclass
class State:
    """Trials under way on a span: distance into it, speed, time since its start, next step size.

    implicit: those for which implicit steps are the cheaper ones. settling: those that may come so close to
    the speed at which drag balances drive that they can go a long way at once. effort: steps so far, in
    explicit ones.
    """

    rows: NDArray[np.intp]
    size: Array
    u: Array
    v: Array
    dt: Array
    hint: Array
    implicit: Flags
    settling: Flags
    effort: Array

    def keep(self, rows: Flags) -> "State":
        """Select trials."""
        return State(*(value[rows] for value in vars(self).values()))


@dataclass(frozen=True)
class Arrival:
    """End of a span: distance covered, speed, time spent, step size to try next, how it ended (n,).

    effort: steps that were tried, in explicit ones.
    """

    u: Array
    v: Array
    dt: Array
    hint: Array
    ending: NDArray[np.int8]
    effort: Array


def advance(
    dynamics: Dynamics, size: Array, v: Array, hint: Array, meeting: Meeting | None = None
) -> Arrival:
    """Carry speeds v (n,) over ``size`` (n,), all positive; hint (n,): step sizes that served before.

    v may be 0 where the acceleration is positive. Ends early where the speed reaches zero (STOPPED)
    or where ``meeting`` happens (MET). NaN in a trial's parameters gives NaN for that trial.
    Raises ArithmeticError if a trial takes more than MOST_STEPS steps.
    """
    n = size.size
    out = Arrival(size.copy(), v.copy(), np.zeros(n), hint.copy(), np.zeros(n, np.int8), np.zeros(n))
    still, neither = np.zeros((3, n)), np.zeros((2, n), bool)
    now = State(np.arange(n), size, still[0], v.copy(), still[1], hint, neither[0], neither[1], still[2])
    if meeting is None:
        left = ~_by_formula(dynamics, size, v, out)
        if not left.any():
            return out
        if not left.all():
            now, dynamics = now.keep(left), dynamics.take(left)
    seen = outlook(dynamics, now.size, now.v)
    now.settling = seen.settling & (meeting is None)
    now.implicit = seen.uneven | seen.stiff & ~now.settling
    now.hint = np.where(now.implicit, seen.first, now.hint)
    guess = np.isinf(now.hint) & ~now.implicit
    if guess.any():
        now.hint = np.where(guess, _first_step(dynamics, now), now.hint)
    for number in range(MOST_STEPS):
        if number and number % PATIENCE == 0:  # what it looked like at the start may have been wrong
            seen = outlook(dynamics.shifted(now.u), now.size - now.u, now.v)
            now.implicit = now.implicit | seen.uneven | seen.stiff
            now.settling = now.settling | seen.settling & (meeting is None)
        if now.settling.any() and (number in (0, 2) or number % EVERY == EVERY - 2):
            now, dynamics = _deliver(now, dynamics, _leap(dynamics, now), out)
        if now.rows.size:
            now, dynamics = _deliver(now, dynamics, _one_step(dynamics, now, meeting), out)
        if not now.rows.size:
            return out
    raise ArithmeticError(f"{now.rows.size} trials have not crossed a span in {MOST_STEPS} steps")


def _by_formula(dynamics: Dynamics, size: Array, v: Array, out: Arrival) -> Flags:
    """Cross spans whose motion is known in closed form; returns the trials that have."""
    done = dynamics.uniform()
    if done.any():
        _uniform(dynamics.steady.start, size, v, done, out)
    for rows, force, strength in dynamics.alone():
        if not rows.any():
            continue
        some = np.flatnonzero(rows)
        crossed = take(force, some).alone(dynamics.steady.start[some], strength[some], size[some], v[some])
        if crossed is not None:
            end, time = crossed
            known = ~np.isnan(end)
            some = some[known]
            out.v[some], out.dt[some], done[some] = end[known], time[known], True
    return done


def _uniform(a: Array, size: Array, v: Array, rows: Flags, out: Arrival) -> None:
    """Constant acceleration in closed form: w^2 = v^2 + 2 a x, t = 2 x/(v + w)."""
    with np.errstate(divide="ignore", invalid="ignore"):  # a = 0 never stops
        square = v * v + 2 * a * size
        stops = square <= 0
        end = np.sqrt(np.maximum(square, 0.0))
        covered = np.where(stops, v * v / (-2 * a), size)
        elapsed = 2 * covered / (v + end)
    np.copyto(out.u, covered, where=rows)
    np.copyto(out.v, end, where=rows)
    np.copyto(out.dt, elapsed, where=rows)
    np.copyto(out.ending, np.int8(STOPPED), where=rows & stops)


def _deliver(
    now: State, dynamics: Dynamics, ending: NDArray[np.int8], out: Arrival
) -> tuple[State, Dynamics]:
    """Note how the span ended for those who are through with it; returns the others."""
    done = ending != UNDER_WAY
    if not done.any():
        return now, dynamics
    rows = now.rows[done]
    for name in ("u", "v", "dt", "hint", "effort"):
        getattr(out, name)[rows] = getattr(now, name)[done]
    out.ending[rows] = ending[done]
    return now.keep(~done), dynamics.take(~done)


def _leap(dynamics: Dynamics, now: State) -> NDArray[np.int8]:
    """Go on by as far as a settled part may at once, updating ``now``; returns how the span ended."""
    rows = np.flatnonzero(now.settling)
    ending = np.full(now.rows.shape, UNDER_WAY, np.int8)
    while rows.size:
        now.effort[rows] += A_LEAP
        u, v, dt, behind, sound, short = leap(dynamics.take(rows), now.size[rows], now.u[rows], now.v[rows])
        now.settling[rows[short]] = False
        some = rows[sound]
        now.u[some], now.v[some] = u[sound], v[sound]
        now.dt[some] += dt[sound]
        now.implicit[some], now.settling[some] = True, behind[sound] > LONG + MUCH
        now.hint[some] = now.size[some] - now.u[some]
        rows = some[now.settling[some]]
    arrived = now.u == now.size
    ending[arrived], now.hint[arrived] = ARRIVED, np.inf
    return ending


def _one_step(dynamics: Dynamics, now: State, meeting: Meeting | None) -> NDArray[np.int8]:
    """Try one step with every trial, updating ``now``; returns how the span ended, if it did."""
    a = dynamics.acceleration(now.u if dynamics.sloped else None, now.v)
    left = now.size - now.u
    distance = left / np.maximum(np.ceil(left / now.hint), 1.0)
    if meeting is not None:
        distance = np.minimum(distance, meeting.reach(now.rows, now.v, a, now.dt))
    now.effort = now.effort + np.where(now.implicit, IMPLICIT, 1.0)
    # stages of steps that are too long overflow or run backwards; their error is NaN or huge
    with np.errstate(all="ignore"):
        end, elapsed, error = move(dynamics, now.implicit, now.u, now.v, a, distance)
        good = (error <= TOLERANCE) & (end > 0)
        stopped = _stopped(dynamics, now, a, left)
        factor = _factor(error, good, now.implicit)
    ending = np.where(good & (distance == left), ARRIVED, UNDER_WAY).astype(np.int8)
    if meeting is not None:
        met = good & (meeting.gap(now.rows, end, now.dt + elapsed) <= 0)
        if met.any():
            distance[met], end[met], elapsed[met] = refine(
                dynamics.take(met), now.implicit[met], now.u[met], now.v[met], a[met], distance[met],
                lambda v, dt: meeting.gap(now.rows[met], v, now.dt[met] + dt),
            )  # fmt: skip
            ending[met] = MET
    _accept(now, good, ending == ARRIVED, distance, end, elapsed, factor)
    if stopped.any():
        _stop(now, stopped, a)
        ending[stopped] = STOPPED
    lost = np.isnan(a)
    now.v[lost] = now.dt[lost] = np.nan
    ending[lost] = ARRIVED
    return ending


def _first_step(dynamics: Dynamics, now: State) -> Array:
    """Guess of a step size where none has served yet.

    A share, found by trial, of the way on which the acceleration's change with position changes the speed
    by its own size; no limit where it does not depend on position.
    """
    a = dynamics.acceleration(now.u, now.v)
    change = np.abs(dynamics.acceleration(now.size, now.v) - a)
    with np.errstate(divide="ignore", invalid="ignore"):
        way = end_speed(now.v, a, now.size) * np.sqrt(now.size / change)
    return np.where(change > 0, 0.045 * way, np.inf)


def _accept(
    now: State, good: Flags, last: Flags, distance: Array, end: Array, elapsed: Array, factor: Array
) -> None:
    """Take over the steps that are accurate; the others are tried again, smaller."""
    suggested = distance * factor
    # a step cut short by the span's end says little about the next span: keep the larger size
    now.hint = np.where(last, np.maximum(now.hint, suggested), suggested)
    if good.all():
        now.v, now.dt, now.u = end, now.dt + elapsed, now.u + distance
    else:
        now.v = np.where(good, end, now.v)
        now.dt = np.where(good, now.dt + elapsed, now.dt)
        now.u = np.where(good, now.u + distance, now.u)
    np.copyto(now.u, now.size, where=last)


def _factor(error: Array, good: Flags, implicit: Flags) -> Array:
    """How much the step size may change; the error goes with its eighth power, or sixteenth if implicit."""
    factor = np.sqrt(np.sqrt(np.sqrt(TOLERANCE / error)))
    if implicit.any():
        factor = np.where(implicit, np.sqrt(factor), factor)
    factor *= 0.9
    # a step that failed makes way for a smaller one, also where its error is NaN or meaningless
    return np.where(good, np.minimum(factor, 4.0), np.fmax(np.minimum(factor, 0.6), 0.2))


def _stopped(dynamics: Dynamics, now: State, a: Array, left: Array) -> Flags:
    """Trials that come to rest next to where they are and do not start again by themselves."""
    square, rest = now.v * now.v, np.zeros_like(now.v)
    stopped = square + 2 * a * left <= 0
    if stopped.any():
        reach = square / (-2 * a)
        stopped &= reach <= STOP * now.size
        # where the drive fades out a part creeps on for twice its reach: look behind that point
        behind = np.minimum(now.u + 4 * reach, now.size)
        stopped &= dynamics.acceleration(behind, rest) <= 0
    if (now.v < 0.02).any():  # creeping so close to that point that the acceleration is all rounding
        ahead = dynamics.acceleration(now.u + STOP_METRES, rest)
        stopped |= (ahead < 0) & (square <= -2 * STOP_METRES * ahead)
    return stopped


def _stop(now: State, rows: Flags, a: Array) -> None:
    """Cover the last negligible distance under constant deceleration, if it is one."""
    v, a = now.v[rows], np.minimum(a[rows], -0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = v * v / (-2 * a)
        near = reach <= STOP_METRES + STOP * now.size[rows]
        now.dt[rows] += np.where(near, v / -a, 0.0)
    now.u[rows] = np.minimum(now.u[rows] + np.where(near, reach, 0.0), now.size[rows])
    now.v[rows] = 0.0
