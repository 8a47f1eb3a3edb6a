"""How long a belt holds a part whose carriage takes more friction than there is, at times."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from gatesim.ground.arrays import Array, Flags, take
from gatesim.motion.belt.belt import Belt
from gatesim.motion.belt.swing import Swing, share_needed
from gatesim.motion.integrate.journey import SpanState
from gatesim.motion.integrate.span import Dynamics
from gatesim.motion.integrate.strength import Line

LOOKS = 64
"""Looks at the friction needed, in one period of the ripple; a peak in between is missed by 0.1 %."""

FEWEST = 16
"""Looks on a span, for what changes with position."""

MARKED = 4_000
"""Points on the way at most; of more, no swing is large enough to be seen."""


@dataclass(frozen=True)
class Held:
    """End of a hold: where and when (n,), whether the grip is lost there (else the span ends).

    need: (n,) largest friction that it took, relative to what there was, as far as it was held.
    points: some of the way there, NaN where a trial had been let go before.
    """

    end: SpanState
    lost: Flags
    need: Array
    points: tuple[SpanState, ...]


@dataclass(frozen=True)
class Carriage:
    """Trials carried from ``begin`` on, over a span with ``dynamics`` acting besides the belt."""

    belt: Belt
    dynamics: Dynamics
    begin: SpanState

    @cached_property
    def _begun(self) -> Array:
        return self.belt.travel(self.begin.t)

    def at(self, t: Array) -> SpanState:
        """Where trials are at times t (n,)."""
        way = self.belt.travel(t) - self._begun
        return SpanState(self.begin.u + way, t, self.belt.velocity(t))

    def lacking(self, t: Array) -> Array:
        """Acceleration (n,) that friction has to give at times t (n,), downhill positive."""
        return self._lacking(t, self.at(t))

    def _lacking(self, t: Array, now: SpanState) -> Array:
        return self.belt.acceleration(t) - self.dynamics.acceleration(now.u, now.v)

    def until(self, pull: Line, size: Array) -> Held:
        """Follow trials over ``size`` (n,), or until friction, at most ``pull``, does not suffice."""

        def needed(t: Array) -> Array:
            now = self.at(t)
            return share_needed(np.abs(self._lacking(t, now)), pull.at(now.u))

        since = self.begin.t
        last = self._arrival(size)
        steps = np.maximum(FEWEST, np.ceil(LOOKS * self.belt.ripple_frequency * (last - since)))
        low, high, need = since.copy(), last.copy(), np.zeros_like(since)
        lost, going = np.zeros(since.shape, bool), np.ones(since.shape, bool)
        points = []
        look = 0
        while going.any():
            look += 1
            t = np.where(look >= steps, last, since + (last - since) * (look / steps))
            asked = needed(t)
            over = going & (asked > 1)
            high, lost, going = np.where(over, t, high), lost | over, going & ~over
            low, need = np.where(going, t, low), np.where(going, np.maximum(need, asked), need)
            if look % 8 == 0:
                points.append(self.at(np.where(going, t, np.nan)))
            going = going & (look < steps)
        while True:
            middle = low + (high - low) / 2
            if not (lost & (middle > low) & (middle < high)).any():  # next to each other
                break
            over = needed(middle) > 1
            high, low = np.where(lost & over, middle, high), np.where(lost & ~over, middle, low)
        end = self.at(high)
        end.u = np.where(lost, end.u, size)
        return Held(end, lost, need, tuple(points))

    def until_evenly(self, pull: Array, size: Array) -> Held:
        """As `until`, on a belt that ripples, where neither friction nor other forces depend on position."""
        since = self.begin.t
        last = self._arrival(size)
        ends = np.minimum(np.maximum(self.belt.ramp, since), last)
        time, need = Swing.of(self.belt, self.dynamics, since).lost(since, ends, pull)
        rows = np.flatnonzero(np.isnan(time) & (ends < last))
        if rows.size:  # past the run-up, at whose end the acceleration jumps
            late, begun = Swing.of(take(self.belt, rows), self.dynamics.take(rows), ends[rows]), ends[rows]
            at_once = np.abs(late.lacking(begun)[0]) > pull[rows]
            found, asked = late.lost(begun, last[rows], pull[rows])
            time[rows], need[rows] = np.where(at_once, begun, found), np.maximum(need[rows], asked)
        lost = ~np.isnan(time)
        end = self.at(np.where(lost, time, last))
        end.u = np.where(lost, end.u, size)
        return Held(end, lost, np.where(lost, np.minimum(need, 1.0), need), self._on_the_way(end.t))

    def _on_the_way(self, until: Array) -> tuple[SpanState, ...]:
        """Eight points a period, but not so many that nobody could tell them apart."""
        since = self.begin.t
        number = np.minimum(np.ceil(8 * self.belt.ripple_frequency * (until - since)), MARKED)
        step = np.arange(1, int(number.max(initial=0)))[:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            every = np.where(step < number, since + (until - since) * (step / number), np.nan)
        found = self.at(every)
        return tuple(SpanState(*point) for point in zip(found.u, found.t, found.v, strict=True))

    def _arrival(self, size: Array) -> Array:
        """When trials (n,) come to ``size``, if they are held so long."""
        since = self.begin.t
        time, _ = self.belt.arrival((self.belt.travel(since) + size - self.begin.u)[None], since)
        first: Array = time[0]
        return first
