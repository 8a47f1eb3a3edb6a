"""How the edges of the filtered inputs get to the counter."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Scalar, column
from gatesim.ground.draw import FARTHEST_NORMAL, Draw, further_normal
from gatesim.ground.quantity import accepts
from gatesim.ground.transition import trimmed, without_reversals


class Timing(Protocol):
    """Maps the time of an edge to the time at which the counter acts on it."""

    def act_on(self, times: Array, draw: Draw, gate: int) -> Array:
        """Transition lists (n, k) of one gate -> (n, m)."""
        ...


@dataclass(frozen=True)
class Hardware:
    """Gate and capture act in hardware: at the edge."""

    def act_on(self, times: Array, draw: Draw, gate: int) -> Array:
        """See `Timing.act_on`."""
        return times


@dataclass(frozen=True)
@accepts(cycle="s", jitter="s")
class Polled:
    """Inputs are read at the start of every scan; all gates share the scans.

    Scan k starts at (k + phase) ``cycle`` (s), give or take ``jitter`` (s, normal, kept within
    half a cycle, so that scans stay in order). An edge waits for the next scan, edges of
    several gates for the same one. A pulse between two scans is never seen. Common practice,
    no source.
    """

    cycle: Scalar
    jitter: Scalar

    def act_on(self, times: Array, draw: Draw, gate: int) -> Array:
        """See `Timing.act_on`."""
        phase = draw.uniform("counter.scan_phase")[:, None]
        cycle = column(self.cycle)
        scan = np.ceil(times / cycle - phase)
        if not np.any(self.jitter):
            return trimmed(without_reversals((scan + phase) * cycle))
        seed = draw.uniform("counter.scan_jitter")[:, None]
        shape, finite = times.shape, np.isfinite(scan)
        scans = _Scans(
            *(np.broadcast_to(v, shape)[finite] for v in (phase, cycle, column(self.jitter), seed))
        )
        starts = np.full(shape, np.inf)
        starts[finite] = scans.first_from(times[finite], scan[finite].astype(np.int64))
        # two edges before the same scan are one pulse that was never seen
        return trimmed(without_reversals(starts))


@dataclass(frozen=True)
class _Scans:
    """The scans that each of m edges may meet; fields (m,)."""

    phase: Array
    cycle: Array
    jitter: Array
    seed: Array

    def start(self, number: NDArray[np.int64], some: NDArray[np.intp] | slice) -> Array:
        """When scan ``number`` starts, for some of the edges."""
        most = 0.499 * self.cycle[some]
        wander = self.jitter[some] * further_normal(self.seed[some], number)
        return (number + self.phase[some]) * self.cycle[some] + np.clip(wander, -most, most)

    def first_from(self, times: Array, number: NDArray[np.int64]) -> Array:
        """Start of the first scan not before the times; ``number`` is that without jitter."""
        starts = self.start(number, slice(None))
        missed = np.flatnonzero(starts < times)
        starts[missed] = self.start(number[missed] + 1, missed)
        # the scan before may start late enough, if its jitter can be so large at all
        early = (number - 1 + self.phase) * self.cycle + FARTHEST_NORMAL * self.jitter
        maybe = np.flatnonzero(early >= times)
        sooner = self.start(number[maybe] - 1, maybe)
        starts[maybe] = np.where(sooner >= times[maybe], sooner, starts[maybe])
        return starts


@dataclass(frozen=True)
@accepts(latency="s", jitter="s")
class Interrupt:
    """Edges are time-stamped by a routine that starts ``latency`` (s) late, give or take ``jitter``.

    The spread of the latency (s, normal, never before the edge) is what reaches the reading:
    a latency common to all edges cancels. Stamps out of order are a pulse that is not seen.
    Common practice, no source.
    """

    latency: Scalar
    jitter: Scalar

    def act_on(self, times: Array, draw: Draw, gate: int) -> Array:
        """See `Timing.act_on`."""
        late = column(self.latency)
        if np.any(self.jitter):
            seed = draw.uniform(f"counter.interrupt_jitter@{gate}")[:, None]
            edge = np.arange(times.shape[1])
            late = np.maximum(0.0, late + column(self.jitter) * further_normal(seed, edge))
        return trimmed(without_reversals(times + late))
