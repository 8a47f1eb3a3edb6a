"""When slip ends, and when grip is lost, on a rippled belt where nothing else changes: by formula.

After the run-up the belt's acceleration is K cos(theta), theta = omega t + phase, K = speed ripple omega.
Under a constant acceleration a of the part the gap of speeds has its extremes where K cos(theta) = a; in
between it is monotonic and has at most one root. Friction that gives at most ``pull`` holds the part until
K cos(theta) leaves a - pull to a + pull.
"""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Flags, Rows, take
from gatesim.motion.belt import kepler, steady
from gatesim.motion.belt.belt import CLOSE, Belt
from gatesim.motion.belt.looks import Looks
from gatesim.motion.roots import solve

TURN = 2 * np.pi

AT_ONCE = 1e-7
"""An extreme less than this (rad) ahead is the one at which the slip begins."""


@dataclass(frozen=True)
class Ripple:
    """Belt under n trials, each at a time ``since`` (n,) past the run-up.

    a: (n,) acceleration of the part while it slips, or what it would have without the belt while it is held.
    """

    belt: Belt
    since: Array
    a: Array

    def take(self, rows: Rows) -> "Ripple":
        """Select trials."""
        return Ripple(take(self.belt, rows), self.since[rows], self.a[rows])

    def ripples(self) -> Flags:
        """Trials (n,) whose belt ripples."""
        rippling: Flags = self._swing() != 0
        return rippling

    def serves(self) -> Flags:
        """Trials (n,) whose belt ripples and has run up."""
        served: Flags = self.ripples() & (self.since >= self.belt.ramp)
        return served

    def _omega(self) -> Array:
        return np.broadcast_to(TURN * np.asarray(self.belt.ripple_frequency, float), self.since.shape)

    def _swing(self) -> Array:
        return np.broadcast_to(self.belt.speed * self.belt.ripple * self._omega(), self.since.shape)

    def _ahead(self, tau: Array, level: Array) -> tuple[Array, Array]:
        """Angles (rad) from time ``tau`` on to where the belt's acceleration rises, and falls, to ``level``.

        Up to a turn, infinite where it never does. One of nearly nothing counts as a whole turn.
        """
        ratio = level / self._swing()
        with np.errstate(invalid="ignore"):
            alpha = np.arccos(ratio)
        theta = self._omega() * (self.since + tau) + self.belt.ripple_phase
        up, down = (np.where(self._swing() > 0, sign, -sign) * alpha for sign in (-1.0, 1.0))
        found = []
        for angle in (up, down):
            left = np.mod(angle - theta, TURN)
            left = np.where(left < AT_ONCE, TURN, left)
            found.append(np.where(np.isnan(alpha), np.inf, left))
        return found[0], found[1]

    def meeting(self, sign: Array, v: Array, last: Array) -> Array:
        """Times (n,) from ``since`` until belt and part are equally fast; NaN if not before ``last`` (n,).

        sign: +1 where the belt is the faster now, else -1; v: the part's speed. Its acceleration is ``a``.
        """
        ripples = self.ripples()
        early = ripples & (self.since < self.belt.ramp)
        weak = ripples & ~early & (np.abs(self._swing()) <= kepler.SMALL * np.abs(self.a))
        found = np.full(v.shape, np.nan)
        for chosen, way in (
            (early, Ripple._looked),
            (weak, Ripple._met_once),
            (ripples & ~(early | weak), Ripple._met),
            (~ripples, Ripple._met_steadily),
        ):
            rows = np.flatnonzero(chosen)
            if rows.size:
                found[rows] = way(self.take(rows), sign[rows], v[rows], last[rows])
        return found

    def _met_steadily(self, sign: Array, v: Array, last: Array) -> Array:
        """As `meeting`, on a belt that does not ripple."""
        return steady.meeting(self.belt, self.since, self.a, sign, v, last)

    def _looked(self, sign: Array, v: Array, last: Array) -> Array:
        """As `meeting`, while the belt runs up."""
        return Looks(self.belt, self.since, v, self.a, sign).meeting(last)

    def _met(self, sign: Array, v: Array, last: Array) -> Array:
        """As `meeting`, from extreme to extreme."""
        least, most = self.belt.band(self.since)
        room = np.where(sign > 0, least - v, v - most)
        with np.errstate(divide="ignore"):
            low = np.minimum(np.where(room > 0, room / np.abs(self.a), 0.0), last)
        high, met = last.copy(), np.zeros(v.shape, bool)
        under_way = low < last
        while under_way.any():
            angle = np.minimum(*self._ahead(low, self.a))
            until = np.minimum(low + angle / self._omega(), last)
            crossed = under_way & (self._gap(sign, v, until) <= 0)
            met |= crossed
            high = np.where(crossed, until, high)
            under_way &= ~crossed & (until < last)
            low = np.where(under_way, until, low)
        return np.where(met, self._root(sign, v, low, high), np.nan)

    def _met_once(self, sign: Array, v: Array, last: Array) -> Array:
        """As `meeting`, where the part gains speed so fast that the ripple hardly matters."""
        even = (self.belt.speed - v) / self.a
        angle = self._omega() * (self.since + even) + self.belt.ripple_phase
        # delta = e sin(M + delta), the sine as the cosine of a right angle less
        delta, _, _ = kepler.lead(self._swing() / self.a, np.sin(angle), -np.cos(angle))
        tau = np.maximum(even + delta / self._omega(), 0.0)
        return np.where((sign * self.a > 0) & (tau <= last), tau, np.nan)

    def _gap(self, sign: Array, v: Array, tau: Array) -> Array:
        """Speed by which the belt is ahead, in direction ``sign``."""
        angle = self._omega() * (self.since + tau) + self.belt.ripple_phase
        belt = self.belt.speed * (1 + self.belt.ripple * np.sin(angle))
        gap: Array = sign * (belt - v - self.a * tau)
        return gap

    def _root(self, sign: Array, v: Array, low: Array, high: Array) -> Array:
        """The root of a gap that falls from ``low`` to ``high``."""
        omega, swing = self._omega(), self._swing()

        def behind(t: Array) -> tuple[Array, Array, Array]:
            angle = omega * t + self.belt.ripple_phase
            slope = -sign * (swing * np.cos(angle) - self.a)
            return -self._gap(sign, v, t - self.since), slope, sign * swing * omega * np.sin(angle)

        bracket = self.since + low, self.since + high
        return solve(behind, 0.5 * (bracket[0] + bracket[1]), bracket, CLOSE)[0] - self.since

    def loss(self, pull: Array) -> Array:
        """Times (n,) from ``since`` until friction of at most ``pull`` (n,) gives way; infinite if never."""
        now = np.zeros(self.since.shape)
        rising, _ = self._ahead(now, self.a + pull)
        _, falling = self._ahead(now, self.a - pull)
        return np.minimum(rising, falling) / self._omega()
