"""On a belt: slipping until the speeds match, then carried, or slipping on where friction cannot."""

from itertools import count

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Flags, take
from gatesim.motion.belt.aboard import Aboard
from gatesim.motion.belt.catchup import CatchUp
from gatesim.motion.belt.hold import Carriage
from gatesim.motion.belt.inturn import MOST_IN_TURN, InTurn, too_often
from gatesim.motion.belt.ripple import Ripple
from gatesim.motion.belt.shaken import Shaken, Shaking
from gatesim.motion.belt.swing import Swing
from gatesim.motion.integrate.advance import MET
from gatesim.motion.integrate.journey import Journey, SpanState
from gatesim.motion.integrate.span import Dynamics
from gatesim.motion.integrate.strength import Line

MOST_PHASES = 1_000
"""Slip and stick in turn on a span, where more than a ripple changes, before it is refused: some seconds."""

SLIVER = 1e-12
"""A change of phase this close to the end of a span, relative to its size, happens at its end."""


class Ride(Aboard):
    """Trials on a belt on their way from node to node: they slip, are held, or both in turn."""

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
        """Slip under a constant acceleration; returns who does.

        ``met`` notes those whom the belt's speed meets before the end of span j.
        """
        a = pulled.steady.start
        evenly: Flags = rows & self._even(j)
        some = np.flatnonzero(evenly)
        if not some.size:
            return evenly
        left, v, a = (trip.nodes[j + 1] - trip.nodes[j] - now.u)[some], now.v[some], a[some]
        with np.errstate(divide="ignore", invalid="ignore"):  # it may stop before the end
            arrives = 2 * left / (v + np.sqrt(v * v + 2 * a * left))
            last = np.fmin(arrives, np.where(a < 0, v / -a, np.inf))
        last = np.where(np.isfinite(last), last, 0.0)
        tau = Ripple(take(self.belt, some), now.t[some], a).meeting(self.sign[some], v, last)
        found = ~np.isnan(tau)
        here, tau, v, a = some[found], tau[found], v[found], a[found]
        now.u[here] += tau * (v + 0.5 * a * tau)
        now.t[here] += tau
        now.v[here] = v + a * tau
        met[here] = True
        self._meet(trip, j, now, here)
        return evenly

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
