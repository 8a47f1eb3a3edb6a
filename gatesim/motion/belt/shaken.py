"""Slip and stick in turn on a rippled belt where nothing else changes: event by event, then whole cycles.

After the run-up the belt's speed is V (1 + r sin theta), its acceleration K cos theta. A part that meets it
is held while K cos theta stays within what friction gives, else it slips under a constant acceleration a
until sin(theta) - sin(theta0) = (a / K) (theta - theta0). What follows depends on the phase of a meeting
alone, and friction takes out what was different before: meetings come to the same phases turn after turn.
As soon as they do, all further cycles are the last one over again.
"""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Flags
from gatesim.motion.belt.belt import Belt
from gatesim.motion.roots import solve

TURN = 2 * np.pi

MOST_EVENTS = 3_000
"""In one go, before a ripple is refused: about a second."""

AT_ONCE = 1e-7
"""An extreme less than this (rad) ahead is the one at which the slip begins."""

SURE = 1e-15
"""What may be left of the way, relative, when the rest of it is taken in whole cycles."""

MARKED = 4_000
"""Events of whole cycles that are noted as points of the motion; of more, none is large enough to be seen."""


@dataclass
class Shaken:
    """n trials at meetings; all (n,).

    speed, swing (m/s) and omega of the belt; free: acceleration without it; pull: what its friction gives.
    left: way to the end of the span. u, t: way and time since the start; theta: phase; sign: +1 where the
    belt pulls on, -1 where it holds back; holding: neither.
    """

    speed: Array
    swing: Array
    omega: Array
    free: Array
    pull: Array
    left: Array
    theta: Array
    sign: Array
    holding: Flags
    u: Array
    t: Array

    @classmethod
    def of(
        cls,
        belt: Belt,
        free: Array,
        pull: Array,
        left: Array,
        mode: tuple[Array, Flags],
        at: tuple[Array, Array],
    ) -> "Shaken":
        """Trials in a mode (``sign``, ``holding``) at a way and time (``u``, ``t``)."""
        speed, ripple, frequency, phase = (
            np.broadcast_to(np.asarray(value, float), free.shape)
            for value in (belt.speed, belt.ripple, belt.ripple_frequency, belt.ripple_phase)
        )
        # a negative amplitude is a positive one half a turn later
        theta = np.mod(TURN * frequency * at[1] + phase + np.where(ripple < 0, np.pi, 0.0), TURN)
        swing = speed * np.abs(ripple)
        return cls(speed, swing, TURN * frequency, free, pull, left, theta, mode[0], mode[1], at[0], at[1])

    def velocity(self) -> Array:
        """Speed of belt and part at the meeting."""
        return self.speed + self.swing * np.sin(self.theta)

    def after_next(self) -> "Shaken":
        """At the next event: grip lost, or the belt met again. NaN where there is none within a few turns."""
        steep = self.swing * self.omega
        turned = np.where(self.holding, self._lost(steep), self._met(steep))
        tau = turned / self.omega
        theta = self.theta + turned
        slid = (self.free + self.sign * self.pull) * tau
        carried = self.speed * tau + self.swing / self.omega * (np.cos(self.theta) - np.cos(theta))
        way = np.where(self.holding, carried, (self.velocity() + 0.5 * slid) * tau)
        lacking = steep * np.cos(theta) - self.free
        # what has just lost its grip slips, whatever rounding says
        holding = ~self.holding & (np.abs(lacking) <= self.pull)
        sign = np.where(holding, self.sign, np.sign(lacking))
        return Shaken(
            self.speed, self.swing, self.omega, self.free, self.pull, self.left,
            np.mod(theta, TURN), sign, holding, self.u + way, self.t + tau,
        )  # fmt: skip

    def _lost(self, steep: Array) -> Array:
        """Angle to where the belt's acceleration leaves what friction gives."""
        with np.errstate(invalid="ignore"):
            rising = np.mod(-np.arccos((self.free + self.pull) / steep) - self.theta, TURN)
            falling = np.mod(np.arccos((self.free - self.pull) / steep) - self.theta, TURN)
        return np.fmin(rising, falling)

    def _met(self, steep: Array) -> Array:
        """Angle to the next meeting of a part that slips, seen as if the belt were the faster one."""
        begin = self.theta + np.where(self.sign < 0, np.pi, 0.0)
        e = self.sign * (self.free + self.sign * self.pull) / steep
        sine = np.sin(begin)
        with np.errstate(invalid="ignore"):
            crest = np.arccos(e)
        high = np.mod(-crest - begin, TURN)
        high = np.where(high < AT_ONCE, high + TURN, high)  # grip was lost at the trough itself
        low = np.maximum(high - TURN + 2 * crest, 0.0)

        def ahead(angle: Array) -> Array:
            return np.sin(begin + angle) - sine - e * angle

        for _ in range(3):  # before the first trough, or one of the next
            on = ahead(high) > 0
            low, high = np.where(on, low + TURN, low), np.where(on, high + TURN, high)

        def behind(angle: Array) -> tuple[Array, Array, Array]:
            at = begin + angle
            return sine + e * angle - np.sin(at), e - np.cos(at), np.sin(at)

        begun = np.where(~self.holding & (ahead(high) <= 0), 0.5 * (low + high), np.nan)
        found, sure = solve(behind, begun, (low, high), 1e-9)
        return np.where(sure, found, np.nan)


@dataclass
class Shaking:
    """Trials on their way from event to event.

    now: at the last event. held: way and time (2, n) of the last meeting since which the belt held on.
    kind: the direction of slip whose beginnings are compared; before: way, time and phase (3, n) at the
    last one of them, step: by how much the phase differed from that before, as a speed. points: way, time
    and speed at the events, (3, n) each, NaN where there was none; repeated: those of whole cycles, by trial.
    """

    now: Shaken
    held: Array
    kind: Array
    before: Array
    step: Array
    points: list[Array]
    repeated: dict[int, Array]

    @classmethod
    def begin(cls, now: Shaken, held: Array) -> "Shaking":
        """At a meeting each."""
        n = now.u.size
        return cls(now, held, np.zeros(n), np.full((3, n), np.nan), np.full(n, np.nan), [], {})

    def run(self, along: Array) -> None:
        """On to the last event before the end of the span; ``along`` (n,): way to its start.

        Raises ArithmeticError for more events than MOST_EVENTS.
        """
        going = np.ones(along.shape, bool)
        for _ in range(MOST_EVENTS):
            then = self.now.after_next()
            going &= then.u < then.left
            if not going.any():
                return
            for name in ("theta", "sign", "holding", "u", "t"):
                setattr(self.now, name, np.where(going, getattr(then, name), getattr(self.now, name)))
            place = np.stack([self.now.u, self.now.t, self.now.velocity()])
            self.points.append(np.where(going, place, np.nan))
            self.held = np.where(going & self.now.holding, place[:2], self.held)
            going &= ~self._leap(going, along)
        raise ArithmeticError(
            "the speed of the belt ripples so fast and so much that the part slips and sticks more than "
            f"{MOST_EVENTS} times before it does so evenly; lower ripple or ripple_frequency"
        )

    def _leap(self, going: Flags, along: Array) -> Flags:
        """Take the rest of the span in whole cycles where these repeat themselves; returns who did."""
        slips = going & ~self.now.holding
        self.kind = np.where(slips & (self.kind == 0), self.now.sign, self.kind)
        here = slips & (self.now.sign == self.kind)
        place = np.stack([self.now.u, self.now.t, self.now.theta])
        way, time, turned = place - self.before
        step = self.now.swing * (np.mod(turned + np.pi, TURN) - np.pi)
        ratio = np.minimum(np.abs(step / np.where(self.step == 0, np.inf, self.step)), 1.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            # what goes down by this ratio a cycle, summed up twice: from speed to way
            rest = np.abs(step) * time / (1 - ratio) ** 2
            same = (rest <= SURE * (along + place[0])) | (np.abs(step) <= 4e-15 * self.now.swing)
            times = np.floor((self.now.left - place[0]) / way) - 1
        self.before = np.where(here, place, self.before)
        self.step = np.where(here, step, self.step)
        sure: Flags = here & same
        for trial in np.flatnonzero(sure & (times > 0)):
            self._repeat(int(trial), int(times[trial]), way[trial], time[trial])
        return sure

    def _repeat(self, trial: int, times: int, way: float, time: float) -> None:
        """Go on by so many cycles of the same ``way``; each lasts whole turns of the ripple."""
        turn = TURN / self.now.omega[trial]
        cycle = np.array([way, turn * np.round(time / turn), 0.0])
        end = np.array([self.now.u[trial], self.now.t[trial]])
        last = [point[:, trial] for point in self.points if point[1, trial] > end[1] - (1 - 1e-9) * time]
        number = np.arange(1, times + 1)
        if times * len(last) > MARKED:  # the mean motion from the first cycle to the last will do
            number, last = np.array([1, times - 1]), [np.array([*end, way / cycle[1]])]
        noted = np.array(last) + number[:, None, None] * cycle
        self.repeated[trial] = noted.reshape(-1, 3).T
        self.now.u[trial], self.now.t[trial] = end + times * cycle[:2]
        if self.held[1, trial] > end[1] - time:
            self.held[:, trial] += times * cycle[:2]

    def marks(self) -> Array:
        """Way, time and speed at all events, (3, k, n), NaN where there was none."""
        most = max((noted.shape[1] for noted in self.repeated.values()), default=0)
        repeated = np.full((3, most, self.now.u.size), np.nan)
        for trial, noted in self.repeated.items():
            repeated[:, : noted.shape[1], trial] = noted
        return np.concatenate(
            [np.array(self.points).reshape(-1, *repeated.shape[::2]).swapaxes(0, 1), repeated], axis=1
        )
