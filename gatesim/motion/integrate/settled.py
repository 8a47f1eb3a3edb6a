"""A long way at once, for many trials: where drag and drive of a part have settled into balance.

There the equation of motion v dv/du = A(u, v), with A = a - K(u, v) v and the drive a constant, has one
smooth solution that all others run into within some relaxation lengths l = -v/(dA/dv): the followed speed.
It is found without a start. With p = 1/v taken as a polynomial through nodes, dv/du = -v^2 dp/du is known,
and the equation is solved at every node by itself; done again and again, each time the error shrinks by l
over the length on which K changes (successive approximation). Under drag in proportion to speed p is K/a at
first, a polynomial where the strength is one.

Time follows from momentum: dt/du = 1/v = (dv/du + K)/a, so that

    t = (change of v + integral of K over u)/a.

Under drag in proportion to speed that takes no v on the way at all, and under a drag curve v counts by
(v/v_c)^2 only, v_c the speed of its peak; so does what the start is off the followed speed.

The speed at the end is that followed on a last stretch, short enough for a polynomial and many relaxation
lengths long. The end is that of the span where the stretch is a small part of the way, and else some
relaxation lengths before it, so that steps over the rest take away what the speed is off.
"""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Flags
from gatesim.motion.integrate.rule import Rule
from gatesim.motion.integrate.span import Dynamics
from gatesim.motion.integrate.sums import weighted

BLOCK = 1024
"""Trials whose nodes fit into the second-level cache together."""

LOOKS = 10
"""Stretches of the way on which its relaxation lengths are counted."""

DIRECT, SHORT = 1e-3, 4e-3
"""Relaxation length at the end over the way: below it to go to the end, and below it to leave little."""

LITTLE, MUCH = 10.0, 18.0
"""Relaxation lengths to leave before the end: about 1e-3 and 1e-6 of what the speed is off remain there."""

LONG = 24.0
"""Least relaxation lengths of a way: about 1e-10 of what the speed is off at its start remains."""

STRETCH, PART = 60.0, 0.25
"""Relaxation lengths of the last stretch, if it is no larger part of the way."""

RANGE = 50.0
"""Times the speed at the start that the followed speed may grow to on one way."""

OFF = 0.1
"""Largest share of its speed by which a part may be off the followed speed at the start."""

TIME, SPEED = 1e-10, 2e-11
"""Largest relative error of the time on the way, and of the speed at the end of the span."""


WAY, END = Rule.radau(12), Rule.radau(9)

WAY_ROUNDS, END_ROUNDS = (1, 5), (1, 6)
"""Without and with the change of the followed speed."""


def leap(
    dynamics: Dynamics, size: Array, u: Array, v: Array
) -> tuple[Array, Array, Array, Array, Flags, Flags]:
    """Go on from distance u (n,) and speed v (n,) on a span of ``size`` (n,) by as far as is sure.

    Returns distance, speed, elapsed time, relaxation lengths behind, and for which trials (each (n,)); for
    the others they mean nothing. At last the trials (n,) whose way is too short for that, now and later.
    """
    out, sound, short = np.empty((4, v.size)), np.zeros(v.size, bool), np.zeros(v.size, bool)
    for first in range(0, v.size, BLOCK):
        some = slice(first, first + BLOCK)
        local = dynamics.take(some)
        near = np.flatnonzero(_near(local, u[some], v[some]))
        landing = _landing(local.take(near), size[some][near], u[some][near], v[some][near])
        enough = landing.before >= LONG
        short[first + near[~enough]] = True
        near = near[enough]
        if near.size:
            rows = first + near
            out[:, rows], sound[rows] = _leap(local.take(near), landing.take(enough), u[rows], v[rows])
    return out[0], out[1], out[2], out[3], sound, short


def _near(dynamics: Dynamics, u: Array, v: Array) -> Flags:
    """Who is close to the followed speed under a constant drive (n,)."""
    acceleration, slope = dynamics.rates(u, v)
    close: Flags = (slope < 0) & (np.abs(acceleration) <= -OFF * slope * v)
    return close & dynamics.steady.level() & (dynamics.steady.start > 0)


@dataclass(frozen=True)
class Landing:
    """Where a leap goes to, and relaxation lengths before and behind that (n,)."""

    end: Array
    before: Array
    behind: Array

    def take(self, rows: Flags) -> "Landing":
        """Select trials."""
        return Landing(self.end[rows], self.before[rows], self.behind[rows])


def _leap(dynamics: Dynamics, landing: Landing, u: Array, v: Array) -> tuple[Array, Flags]:
    drive, end, behind = dynamics.steady.start, landing.end, landing.behind
    with np.errstate(all="ignore"):  # where there is no followed speed
        way = end - u
        found = _follow(dynamics, WAY, WAY_ROUNDS, u, way, v)
        sense = np.abs(-found.slope - found.drag)  # of the drag to v, relative to v
        lost = weighted(WAY.weights, sense * found.off)
        lost += _missed(found.drag)
        # the drag for what the start is off, which fades out over a relaxation length
        start = v - 1 / weighted(WAY.at_zero, 1 / found.speed)
        here, slope = dynamics.rates(u, v)
        more = (1 + (drive - here) / v / slope) * start
        start = np.abs(start) / v
        lost = lost * way + np.abs(more) * 2 * (start - np.abs(here) / (slope * v))
        last = np.minimum(STRETCH * found.speed[-1] / -found.slope[-1], PART * way)
        final = _follow(dynamics, END, END_ROUNDS, end - last, last, found.speed[-1])
        speed = final.speed[-1]
        time = (speed - v + weighted(WAY.weights, found.drag) * way + more) / drive
        rest = np.maximum(final.off[-1], start * np.exp(-landing.before)) * np.exp(-0.7 * behind)
        sound = found.everywhere() & final.everywhere()
        sound &= (lost <= TIME * drive * time) & (rest <= SPEED)
    return np.stack([end, speed, time, behind]), sound


@dataclass(frozen=True)
class Followed:
    """The followed speed at nodes, the share of it that it is off, drag K and slope dA/dv there (k, n)."""

    speed: Array
    off: Array
    drag: Array
    slope: Array

    def everywhere(self) -> Flags:
        """Trials (n,) that drag and drive balance on the whole way."""
        everywhere: Flags = np.all((self.speed > 0) & (self.slope < 0) & (self.drag > 0), axis=0)
        return everywhere


def _follow(
    dynamics: Dynamics, rule: Rule, rounds: tuple[int, int], begin: Array, way: Array, v: Array
) -> Followed:
    """The followed speed on a way (n,) from ``begin`` (n,); ``v`` (n,) is like it."""
    drive, field = dynamics.steady.start, dynamics.at(begin + rule.nodes[:, None] * way)
    v = np.broadcast_to(v, (rule.nodes.size, v.size))
    speed = drive * v / (drive - field.acceleration(v))
    change: Array | float = 0.0
    alone, together = rounds
    for i in range(alone + together):
        if i >= alone:
            change = speed * speed * (weighted(rule.slopes, 1 / speed) / -way)
        acceleration, slope = field.rates(speed)
        step = (acceleration - speed * change) / (slope - change)
        now = speed
        speed = np.clip(now - step, 0.5 * now, 2 * now)
    # what the highest power of p makes of its slope
    steepest = rule.steepest * np.abs(weighted(rule.highest[-1], 1 / now)) / way
    off = np.abs(step) / now - now * now / slope * steepest
    return Followed(speed, off, (drive - acceleration) / now, slope)


@np.errstate(all="ignore")  # where there is no followed speed
def _landing(dynamics: Dynamics, size: Array, u: Array, v: Array) -> Landing:
    drive, cell = dynamics.steady.start, (size - u) / LOOKS
    field = dynamics.at(u + np.arange(LOOKS + 1)[:, None] * cell)
    speed = np.broadcast_to(v, (LOOKS + 1, v.size))
    for _ in range(2):
        speed = drive * speed / (drive - field.acceleration(speed))
    per_metre = -field.rates(speed)[1] / speed
    per_metre = np.where(per_metre > 0, per_metre, 0.0)  # also NaN
    counts = 0.5 * cell * (per_metre[1:] + per_metre[:-1])
    left = np.zeros((LOOKS + 1, v.size))
    for i in range(LOOKS - 1, -1, -1):
        left[i] = left[i + 1] + counts[i]
    loose = 1 / (per_metre[-1] * (size - u))
    behind = np.where(loose < DIRECT, 0.0, np.where(loose < SHORT, LITTLE, MUCH))
    i = np.clip(np.count_nonzero(left >= behind, axis=0) - 1, 0, LOOKS - 1)
    column = np.arange(v.size)
    part = (left[i, column] - behind) / (left[i, column] - left[i + 1, column])
    # where the drag fades out, relaxation lengths to the end go with a power of the way to it
    power = 1 + np.clip(np.log2(per_metre[-3] / per_metre[-2]), 0.0, 8.0)
    fading = 1 - (behind * power / (cell * per_metre[-2])) ** (1 / power)
    part = np.where((i == LOOKS - 1) & (per_metre[-1] < 0.25 * per_metre[-2]), fading, part)
    end = np.where(loose < DIRECT, size, u + cell * (i + part))
    # a polynomial is not sure in a small part of its largest value: rather land before, and once more
    alike = np.logical_and.accumulate((speed > 0) & (speed < RANGE * speed[0]), axis=0)
    many = np.maximum(np.count_nonzero(alike, axis=0) - 1, 1)
    sooner = (many < LOOKS) & (u + cell * many < end)
    behind = np.where(sooner, left[many, column], behind)
    return Landing(np.where(sooner, u + cell * many, end), left[0] - behind, behind)


def _missed(drag: Array) -> Array:
    """What the integral from 0 to 1 of the drag (k, n) may miss (n,).

    The rule is exact to twice the degree of the polynomial, and the coefficients up to there go on shrinking
    as the last ones do, of which every other one may be 0.
    """
    third, second, last = np.abs(weighted(WAY.highest, drag))
    larger = np.maximum(last, second)
    shrink = np.minimum(larger / np.maximum(second, third), 1.0)
    missed: Array = larger * shrink**8
    return missed
