"""A rippled belt while it runs up, or has: its extremes of acceleration, and the events between them.

Its speed is W (1 + r sin theta), theta = omega t + phase, with W = w0 + k t. The acceleration
k + r (k sin theta + W omega cos theta) has its extremes where tan theta = 2 k/(W omega): between two of
them it is monotonic. The law of the part's speed adds little to that, so that Newton's method finds
extremes and crossings from there in two or three steps.
"""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Rows
from gatesim.motion.belt.belt import CLOSE, Belt
from gatesim.motion.belt.slide import Slide
from gatesim.motion.integrate.span import Dynamics
from gatesim.motion.roots import solve

TURN = 2 * np.pi

FEW, MANY = 2, 64
"""Extremes that are looked at at once: soon after a meeting grip is mostly lost, else not for long."""

TURNS = 2
"""Turns of the ripple within which a part that slips must be met again."""


def share_needed(need: Array, pull: Array) -> Array:
    """Friction needed over what there is (n,); where nothing lies on the belt, none suffices but for none."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(need > 0, need / np.maximum(pull, 0.0), 0.0))


@dataclass(frozen=True)
class Swing:
    """Belts of n trials on one stage: before the end of the run-up, or past it.

    w0, k: speed without ripple at time 0 (m/s) and its growth (m/s^2); r, omega (rad/s), phase: of the
    ripple; all (n,). dynamics: what acts on the part besides the belt, at any place of a span alike.
    """

    w0: Array
    k: Array
    r: Array
    omega: Array
    phase: Array
    dynamics: Dynamics

    @classmethod
    def of(cls, belt: Belt, dynamics: Dynamics, since: Array) -> "Swing":
        """The stage that times ``since`` (n,) belong to."""
        late = since >= belt.ramp
        w0 = np.where(late, belt.speed, belt.start_speed)
        k = np.where(late, 0.0, belt.rate)
        omega = np.broadcast_to(belt.angular, since.shape)
        # a negative amplitude is a positive one half a turn later
        phase = np.broadcast_to(
            belt.ripple_phase + np.where(np.asarray(belt.ripple) < 0, np.pi, 0.0), since.shape
        )
        return cls(w0, k, np.broadcast_to(np.abs(belt.ripple), since.shape), omega, phase, dynamics)

    def take(self, rows: Rows) -> "Swing":
        """Select trials."""
        return Swing(
            self.w0[rows], self.k[rows], self.r[rows], self.omega[rows], self.phase[rows],
            self.dynamics.take(rows),
        )  # fmt: skip

    def moving(self, t: Array) -> tuple[Array, Array, Array, Array]:
        """Speed of the belt and its first three derivatives at times t (..., n)."""
        angle = self.omega * t + self.phase
        sine, cosine = self.r * np.sin(angle), self.r * np.cos(angle)
        w = self.w0 + self.k * t
        turning = self.omega * w
        first = 1 + sine
        return (
            w * first,
            self.k * first + turning * cosine,
            self.omega * (2 * self.k * cosine - turning * sine),
            -(self.omega**2) * (3 * self.k * sine + turning * cosine),
        )

    def lacking(self, t: Array) -> tuple[Array, Array, Array]:
        """Acceleration that friction has to give a part that is carried, and its derivatives, at t (..., n).

        The second one but for the curvature of the forces' laws.
        """
        v, a, jerk, more = self.moving(t)
        free, slope = self.dynamics.rates(None, v)
        return a - free, jerk - slope * a, more - slope * jerk

    def extremes(self, since: Array, first: int, count: int) -> Array:
        """Times (count, n) of the extremes of `lacking` after ``since`` (n,), from the ``first``-th on."""
        number = np.arange(first, first + count, dtype=float)[:, None]
        lead = np.arctan2(2 * self.k, self.omega * (self.w0 + self.k * since))
        begun = np.floor((self.omega * since + self.phase - lead) / np.pi) + 1
        half = (number + begun) * np.pi - self.phase
        t: Array = (half + lead) / self.omega
        if self.k.any():
            for _ in range(2):
                t = (half + np.arctan2(2 * self.k, self.omega * (self.w0 + self.k * t))) / self.omega
        for _ in range(2):
            _, slope, bend = self.lacking(t)
            with np.errstate(divide="ignore", invalid="ignore"):
                step = slope / bend
            t = t - np.where(np.abs(step) * self.omega < 0.5, step, 0.0)
        return t

    def way(self, begin: Array, end: Array) -> Array:
        """Travel of the belt between two times (n,)."""
        first, then = self.omega * begin + self.phase, self.omega * end + self.phase
        w, more = self.w0 + self.k * begin, self.w0 + self.k * end
        swung = (w * np.cos(first) - more * np.cos(then)) / self.omega
        swung += self.k * (np.sin(then) - np.sin(first)) / self.omega**2
        found: Array = 0.5 * (w + more) * (end - begin) + self.r * swung
        return found

    def lost(self, since: Array, last: Array, pull: Array) -> tuple[Array, Array]:
        """When a part held at ``since`` is let go, NaN if not before ``last``; the friction needed till then.

        All (n,). The latter is over what there is, which gives an acceleration ``pull``.
        """
        found, need = np.full(since.shape, np.nan), share_needed(np.abs(self.lacking(since)[0]), pull)
        held, first, count = np.arange(since.size), 0, FEW
        while held.size:
            some = self.take(held)
            gone, asked, seen = some._lost_within(since[held], last[held], pull[held], first, count)
            found[held], need[held] = gone, np.maximum(need[held], asked)
            held = held[np.isnan(gone) & (seen < last[held])]
            first, count = first + count, MANY
        return found, need

    def _lost_within(
        self, since: Array, last: Array, pull: Array, first: int, count: int
    ) -> tuple[Array, Array, Array]:
        """As `lost`, up to the last of ``count`` extremes, which is the third array."""
        ahead = self.extremes(since, first - 1, count + 1)
        ends = np.minimum(np.maximum(ahead, since), last)
        lacking = self.lacking(ends)[0]
        over = np.abs(lacking[1:]) > pull
        asked = np.where(over.cumsum(axis=0) == 0, share_needed(np.abs(lacking[1:]), pull), 0.0).max(axis=0)
        found, rows = np.full(since.shape, np.nan), np.flatnonzero(over.any(axis=0))
        if rows.size:
            at = over.argmax(axis=0)[rows]
            found[rows] = self.take(rows)._rises(
                (ends[at, rows], ends[at + 1, rows]), (lacking[at, rows], lacking[at + 1, rows]), pull[rows]
            )
            asked[rows] = 1.0
        return found, asked, ends[-1]

    def _rises(self, bracket: tuple[Array, Array], ends: tuple[Array, Array], pull: Array) -> Array:
        """When, within a bracket, what is lacking becomes ``pull`` in the direction of its second end."""
        sign = np.sign(ends[1])
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (pull - sign * ends[0]) / (sign * (ends[1] - ends[0]))
        share = np.arccos(np.clip(1 - 2 * share, -1.0, 1.0)) / np.pi  # as on a cosine

        def beyond(t: Array) -> tuple[Array, Array, Array]:
            value, slope, bend = self.lacking(t)
            return sign * value - pull, sign * slope, sign * bend

        return solve(beyond, bracket[0] + share * (bracket[1] - bracket[0]), bracket, CLOSE)[0]

    def met(self, since: Array, slide: Slide, sign: Array) -> Array:
        """When a part that slips from ``since`` (n,) on, then as fast as the belt, is so again.

        sign: +1 where the belt gets ahead. NaN if not within the slide's time.
        """
        lowest, highest = self._turning_points(since, slide, sign)
        gap = sign * (self.moving(lowest)[0] - slide.moving(lowest - since)[0])
        at = (gap <= 0).argmax(axis=0)[None]
        low, high, least = (np.take_along_axis(a, at, axis=0)[0] for a in (highest, lowest, gap))
        low = np.maximum(low, since)
        on = sign * (self.moving(low)[0] - slide.moving(low - since)[0]) > 0
        low = np.where(on, low, since)

        def behind(t: Array) -> tuple[Array, Array, Array]:
            (v, a, jerk, _), (own, its, more) = self.moving(t), slide.moving(t - since)
            return sign * (own - v), sign * (its - a), sign * (more - jerk)

        begun = np.where((least <= 0) & slide.sure, 0.5 * (low + high), np.nan)
        found, sure = solve(behind, begun, (low, high), CLOSE)
        return np.where(sure, found, np.nan)

    def _turning_points(self, since: Array, slide: Slide, sign: Array) -> tuple[Array, Array]:
        """Times (`TURNS`, n) when the gap of speeds is least next, and about when it was largest before."""
        w = self.w0 + self.k * since
        swing = self.r * np.hypot(self.k, self.omega * w)
        crest = np.arctan2(self.k, self.omega * w) + np.where(sign > 0, 0.0, np.pi)
        wide = np.arccos(np.clip(sign * (slide.a - self.k) / swing, -1.0, 1.0))
        trough = np.mod(crest + np.pi - self.omega * since - self.phase, TURN)
        turns = TURN * np.arange(TURNS)[:, None]
        t = since + (trough + np.pi - wide + turns) / self.omega
        before = t - (TURN - 2 * wide) / self.omega
        for _ in range(2):
            (_, a, jerk, _), (_, own, more) = self.moving(t), slide.moving(t - since)
            with np.errstate(divide="ignore", invalid="ignore"):
                step = (a - own) / (jerk - more)
            t = t - np.where(np.abs(step) * self.omega < 0.5, step, 0.0)
        return t, before
