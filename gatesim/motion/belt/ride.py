"""On a belt: slipping until the speeds match, then carried, or slipping on where friction cannot."""

from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Flags, take
from gatesim.motion.belt.belt import Belt
from gatesim.motion.belt.catchup import CatchUp
from gatesim.motion.belt.hold import Carriage
from gatesim.motion.belt.inturn import MOST_IN_TURN, InTurn, too_often
from gatesim.motion.belt.ripple import Ripple
from gatesim.motion.belt.shaken import Shaken, Shaking
from gatesim.motion.belt.swing import Swing, share_needed
from gatesim.motion.integrate.advance import MET
from gatesim.motion.integrate.journey import Journey, SpanState
from gatesim.motion.integrate.span import Dynamics
from gatesim.motion.integrate.strength import Line

MOST_PHASES = 1_000
"""Slip and stick in turn on a span, where more than a ripple changes, before it is refused: some seconds."""

SLIVER = 1e-12
"""A change of phase this close to the end of a span, relative to its size, happens at its end."""


@dataclass
class Ride:
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
    def begin(cls, belt: Belt, trip: Journey, dynamics: list[Dynamics]) -> "Ride":
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

    def span(self, trip: Journey, j: int, moving: Flags) -> Flags:
        """Take trials over span j as far as they slip; returns those that are not on the belt."""
        aboard = moving & (trip.nodes[j] >= self.belt.start)
        if not aboard.any():
            return moving
        now = trip.at_start(j)
        self._enter(trip, j, now, aboard & (self.sign == 0) & ~self.holding & ~self.carried)
        self._judge(trip, j, now, np.flatnonzero(aboard & self.holding))
        trip.lose(j, np.flatnonzero(self.carried))
        self._alternate(trip, j, now, aboard & ~self.carried)
        elsewhere: Flags = moving & ~aboard
        return elsewhere

    def _alternate(self, trip: Journey, j: int, now: SpanState, rows: Flags) -> None:
        """Hold and slip in turn until the end of span j."""
        size = trip.nodes[j + 1] - trip.nodes[j]
        for number in count():
            slipping = rows & ~self.holding | self._hold(trip, j, now, rows & self.holding)
            met = self._slip(trip, j, now, slipping)
            rows = met & ~self.carried & (now.u < (1 - SLIVER) * size)
            late = met & ~self.carried & ~rows
            trip.time[j + 1, late], trip.speed[j + 1, late] = now.t[late], now.v[late]
            if not rows.any():
                return
            often = 2 * self._periods(j, now, size)
            quick = self._level(j) & Ripple(self.belt, now.t, now.v).ripples()
            most = np.where(quick, MOST_IN_TURN, MOST_PHASES)
            if number > MOST_PHASES or (often > most)[rows].any():
                raise ArithmeticError(too_often(int(most[rows & (often > most)].max(initial=MOST_PHASES))))
            if number > 0:
                self._shake(trip, j, now, rows)
                self._in_turn(trip, j, now, rows & quick)

    def _periods(self, j: int, now: SpanState, size: Array) -> Array:
        """Periods of the ripple, at least, to the end of span j, or as long as more than it changes."""
        fastest = self.belt.speed * (1 + np.abs(self.belt.ripple))
        ahead, running = (size - now.u) / fastest, np.maximum(self.belt.ramp - now.t, 0.0)
        periods: Array = (
            np.where(self._even(j), np.minimum(ahead, running), ahead) * self.belt.ripple_frequency
        )
        return periods

    def _shake(self, trip: Journey, j: int, now: SpanState, rows: Flags) -> None:
        """From meeting to meeting, then by whole cycles, where nothing but the belt changes on span j."""
        free, lost = self.dynamics[j].steady.start, (self.judged == j) & (self.grip > 1)
        some = np.flatnonzero(rows & lost & self._even(j) & Ripple(self.belt, now.t, free).serves())
        if not some.size:
            return
        size, since = (trip.nodes[j + 1] - trip.nodes[j])[some], trip.nodes[j, some]
        held = np.stack([self.held_position[some] - since, self.held_time[some]])
        shaking = Shaking.begin(
            Shaken.of(
                take(self.belt, some), free[some], self._pull(j).start[some], (1 - SLIVER) * size,
                (self.sign[some], self.holding[some]), (now.u[some], now.t[some]),
            ),
            held,
        )  # fmt: skip
        shaking.run(since)
        then = shaking.now
        now.u[some], now.t[some], now.v[some] = then.u, then.t, then.velocity()
        self.sign[some], self.holding[some], self.lost[some] = then.sign, then.holding, True
        self.held_position[some], self.held_time[some] = shaking.held[0] + since, shaking.held[1]
        marks = shaking.marks()
        every = np.full((*marks.shape[:2], self.sign.size), np.nan)
        every[:, :, some] = marks
        every[0][:, some] += since
        self.marks.append(SpanState(*every))

    def _in_turn(self, trip: Journey, j: int, now: SpanState, rows: Flags) -> None:
        """From meeting to meeting where the belt runs up, or other forces depend on speed alone on span j."""
        late = now.t >= self.belt.ramp
        some = np.flatnonzero(rows & (self.grip > 1) & ~(late & self._even(j)))
        if not some.size:
            return
        size, since = (trip.nodes[j + 1] - trip.nodes[j])[some], trip.nodes[j, some]
        stages = InTurn(
            Swing.of(take(self.belt, some), self.dynamics[j].take(some), now.t[some]),
            np.where(late, np.inf, self.belt.ramp)[some], self._pull(j).start[some], (1 - SLIVER) * size,
            now.u[some], now.t[some], self.sign[some], self.holding[some],
            np.stack([self.held_position[some] - since, self.held_time[some]]), [],
        )  # fmt: skip
        stages.run()
        moved = stages.t > now.t[some]
        now.u[some], now.t[some] = stages.u, stages.t
        now.v[some] = np.where(moved, take(self.belt, some).velocity(stages.t), now.v[some])
        self.sign[some], self.holding[some] = stages.sign, stages.holding
        self.lost[some] |= moved
        self.held_position[some], self.held_time[some] = stages.held[0] + since, stages.held[1]
        for point in stages.points:
            mark = SpanState(*np.full((3, self.sign.size), np.nan))
            mark.u[some], mark.t[some], mark.v[some] = point[0] + since, point[1], point[2]
            self.marks.append(mark)

    def _slip(self, trip: Journey, j: int, now: SpanState, rows: Flags) -> Flags:
        """Slip from where trials are; returns those that meet the belt's speed, which ``now`` follows."""
        met = np.zeros(rows.shape, bool)
        if not rows.any():
            return met
        steady, pull = self.dynamics[j].steady, self._pull(j)
        slope = steady.slope
        if pull.slope is not None:
            slope = self.sign * pull.slope + (0.0 if slope is None else slope)
        pulled = Dynamics(Line(steady.start + self.sign * pull.start, slope), self.dynamics[j].terms)
        evenly = self._slip_evenly(trip, j, now, rows, pulled, met)
        if evenly.any():
            trip.cross(j, pulled, evenly & ~met, None, now)
            rows = rows & ~evenly
            if not rows.any():
                return met
        crossed = trip.cross(
            j, pulled, rows, lambda some: CatchUp(take(self.belt, some), self.sign[some], now.t[some]), now
        )
        if crossed is None:
            return met
        going, end = crossed
        caught = end.ending == MET
        rows_met = going[caught]
        now.u[rows_met] += end.u[caught]
        now.t[rows_met] += end.dt[caught]
        now.v[rows_met] = end.v[caught]
        self._meet(trip, j, now, rows_met)
        met[rows_met] = True
        return met

    def _slip_evenly(
        self, trip: Journey, j: int, now: SpanState, rows: Flags, pulled: Dynamics, met: Flags
    ) -> Flags:
        """Slip under a constant acceleration on a rippled belt; returns who does.

        ``met`` notes those whom the belt's speed meets before the end of span j.
        """
        a = pulled.steady.start
        ripple = Ripple(self.belt, now.t, a)
        evenly: Flags = rows & self._even(j) & ripple.ripples()
        some = np.flatnonzero(evenly)
        if not some.size:
            return evenly
        left, v, a = (trip.nodes[j + 1] - trip.nodes[j] - now.u)[some], now.v[some], a[some]
        with np.errstate(divide="ignore", invalid="ignore"):  # it may stop before the end
            arrives = 2 * left / (v + np.sqrt(v * v + 2 * a * left))
            last = np.fmin(arrives, np.where(a < 0, v / -a, np.inf))
        tau = ripple.take(some).meeting(self.sign[some], v, np.where(np.isfinite(last), last, 0.0))
        found = ~np.isnan(tau)
        here, tau, v, a = some[found], tau[found], v[found], a[found]
        now.u[here] += tau * (v + 0.5 * a * tau)
        now.t[here] += tau
        now.v[here] = v + a * tau
        met[here] = True
        self._meet(trip, j, now, here)
        return evenly

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

    def _let_go(self, trip: Journey, j: int, now: SpanState, rows: NDArray[np.intp], lacking: Array) -> None:
        self.sign[rows] = np.sign(lacking)
        self.holding[rows], self.lost[rows] = False, True

    def _mark(self, trip: Journey, j: int, now: SpanState, rows: NDArray[np.intp]) -> None:
        mark = SpanState(*np.full((3, self.sign.size), np.nan))
        mark.u[rows], mark.t[rows], mark.v[rows] = trip.nodes[j, rows] + now.u[rows], now.t[rows], now.v[rows]
        self.marks.append(mark)

    def _hold(self, trip: Journey, j: int, now: SpanState, rows: Flags) -> Flags:
        """Carry trials as far as friction suffices; returns those let go before the end of span j."""
        freed = np.zeros(rows.shape, bool)
        some = np.flatnonzero(rows & ~self._lose_evenly(trip, j, now, rows, freed))
        if not some.size:
            return freed
        level = (self._level(j) & Ripple(self.belt, now.t, now.v).ripples())[some]
        for chosen, evenly in ((some[level], True), (some[~level], False)):
            if chosen.size:
                self._hold_on(trip, j, now, chosen, freed, evenly=evenly)
        return freed

    def _hold_on(
        self, trip: Journey, j: int, now: SpanState, some: NDArray[np.intp], freed: Flags, *, evenly: bool
    ) -> None:
        """As `_hold`; ``evenly``: nothing on the span depends on where they are."""
        size = (trip.nodes[j + 1] - trip.nodes[j])[some]
        begin, pull = SpanState(now.u[some], now.t[some], now.v[some]), self._pull(j).take(some)
        carriage = Carriage(take(self.belt, some), self.dynamics[j].take(some), begin)
        held = carriage.until_evenly(pull.start, size) if evenly else carriage.until(pull, size)
        for point in (*held.points, held.end):
            now.u[some], now.t[some], now.v[some] = point.u, point.t, point.v
            self._mark(trip, j, now, some)
        trip.time[j + 1, some], trip.speed[j + 1, some] = held.end.t, held.end.v
        self.held_need[some] = np.maximum(self.held_need[some], held.need)
        gone = held.lost & (held.end.u < (1 - SLIVER) * size)
        self._let_go(trip, j, now, some[gone], carriage.lacking(held.end.t)[gone])
        freed[some] = gone

    def _lose_evenly(self, trip: Journey, j: int, now: SpanState, rows: Flags, freed: Flags) -> Flags:
        """Carry trials to where a ripple's next swing takes more than friction gives; returns whom it does.

        Only where nothing but the belt changes on the span; ``freed`` notes them, too.
        """
        dynamics = self.dynamics[j]
        ripple = Ripple(self.belt, now.t, dynamics.steady.start)
        evenly: Flags = rows & self._even(j) & ripple.serves()
        some = np.flatnonzero(evenly)
        if not some.size:
            return evenly
        tau, belt = ripple.take(some).loss(self._pull(j).start[some]), take(self.belt, some)
        since = now.t[some]
        with np.errstate(invalid="ignore"):  # never
            u = now.u[some] + belt.travel(since + tau) - belt.travel(since)
        lost = u < (1 - SLIVER) * (trip.nodes[j + 1] - trip.nodes[j])[some]
        here, tau = some[lost], tau[lost]
        now.u[here], now.t[here] = u[lost], now.t[here] + tau
        now.v[here] = take(self.belt, here).velocity(now.t[here])
        self.held_need[here] = np.maximum(self.held_need[here], 1.0)
        self._mark(trip, j, now, here)
        lacking = take(self.belt, here).acceleration(now.t[here]) - dynamics.steady.start[here]
        self._let_go(trip, j, now, here, lacking)
        freed[here] = True
        evenly[some[~lost]] = False
        return evenly

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

    def finish(self, trip: Journey) -> None:
        """Times and speeds of the carried trials at the nodes after the catch."""
        later = self.carried & (trip.nodes >= self.caught_position) & ~np.isnan(self.time)
        np.copyto(trip.time, self.time, where=later)
        np.copyto(trip.speed, self.speed, where=later)
        kept = self.holding & ~self.lost  # the bound was too wide: friction sufficed all the way
        self.grip[kept] = self.held_need[kept]
        self.caught_position[kept], self.caught_time[kept] = self.held_position[kept], self.held_time[kept]
