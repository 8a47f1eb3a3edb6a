"""Inputs are read once a scan: edges wait for the next one."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from gatesim.counter.timing.base import Timing, TimingTable
from gatesim.counter.timing.interrupt import InterruptTable
from gatesim.ground import keys
from gatesim.ground.arrays import Array, Scalar, take
from gatesim.ground.draw import FARTHEST_NORMAL, Draw, Further
from gatesim.ground.quantity import Quantity, accepts, stated
from gatesim.ground.sampling import Sampling
from gatesim.ground.table import TableValues
from gatesim.ground.text import mm
from gatesim.ground.transition import trimmed, without_reversals

PHASE = "counter.scan_phase"


@dataclass(frozen=True)
@accepts(cycle="s", jitter="s")
class Polled(Timing):
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
        phase, cycle = draw.uniform(PHASE), np.asarray(self.cycle)
        edges = np.ascontiguousarray(times.T)  # a row for each edge, all trials at once
        scan = np.ceil(edges / cycle - phase)
        if not np.any(self.jitter):
            return trimmed(without_reversals(((scan + phase) * cycle).T))
        scans = _Scans(phase, self.cycle, self.jitter, Further.of(draw.uniform("counter.scan_jitter")))
        some = np.flatnonzero(np.isfinite(scan))
        trial = np.tile(np.arange(len(times)), len(edges))[some]
        starts = np.full(edges.shape, np.inf)
        first = scan.ravel()[some].astype(np.int64)
        starts.ravel()[some] = scans.of(trial).first_from(edges.ravel()[some], first)
        # two edges before the same scan are one pulse that was never seen
        return trimmed(without_reversals(starts.T))


@dataclass(frozen=True)
class _Scans:
    """The scans that each of m edges may meet; fields (m,), or one value for all."""

    phase: Array
    cycle: Scalar
    jitter: Scalar
    draws: Further

    def of(self, rows: NDArray[np.intp]) -> "_Scans":
        """Those of some of the edges."""
        return take(replace(self, draws=take(self.draws, rows)), rows)

    def start(self, number: NDArray[np.int64]) -> Array:
        """When the scan of that number starts, (m,)."""
        most = 0.499 * np.asarray(self.cycle)
        wander = self.jitter * self.draws.normal_at(number)
        return (number + self.phase) * self.cycle + np.clip(wander, -most, most)

    def first_from(self, times: Array, number: NDArray[np.int64]) -> Array:
        """Start of the first scan not before the times; ``number`` is that without jitter."""
        starts = self.start(number)
        missed = np.flatnonzero(starts < times)
        starts[missed] = self.of(missed).start(number[missed] + 1)
        # the scan before may start late enough, if its jitter can be so large at all
        early = (number - 1 + self.phase) * self.cycle + FARTHEST_NORMAL * np.asarray(self.jitter)
        maybe = np.flatnonzero(early >= times)
        sooner = self.of(maybe).start(number[maybe] - 1)
        starts[maybe] = np.where(sooner >= times[maybe], sooner, starts[maybe])
        return starts


class PolledTable(TimingTable):
    """Inputs are read once a scan: edges wait for the next one."""

    kind: Literal["polled"]
    cycle: keys.Period = Field(
        description="Cycle time of the scan; all gates are read at its start, its phase is uniform."
    )
    jitter: keys.Time = Field(
        default=stated("0 s", "s"),
        description="Standard deviation of the start of a scan about its place in an even row of scans of "
        "random phase: normal, drawn anew for every scan, not summed up, kept within half a cycle.",
    )

    def build(self, values: TableValues) -> Polled:
        """See `TimingTable.build`."""
        return Polled(values["cycle"], values["jitter"])

    @property
    def setting(self) -> str:
        """See `TimingTable.setting`."""
        return "polled once a scan"

    @property
    def effect(self) -> str:
        """See `TimingTable.effect`."""
        return "polling once a scan"

    @property
    def place(self) -> str:
        """See `TimingTable.place`."""
        return "the scan of the controller"

    @property
    def when_missed(self) -> str:
        """See `TimingTable.when_missed`."""
        return "between two scans of the controller, which never sees the part"

    @property
    def against_loss(self) -> str:
        """See `TimingTable.against_loss`."""
        return (
            "the controller's scan misses edges: a shorter cycle, or inputs that gate and "
            "capture in hardware, help"
        )

    def reason(self, speed: float) -> str:
        """See `TimingTable.reason`."""
        return (
            f"The controller looks at its inputs once every {self.cycle.text}, in which the part moves "
            f"{mm(self.cycle.nominal * speed)}: an edge waits for the next look."
        )

    def side_note(self, speed: float) -> str:
        """See `TimingTable.side_note`."""
        worth = f"{1e3 * self.cycle.nominal * speed:.2g} mm"
        return (
            f"Every edge waits up to {self.cycle.text} for the next scan, worth {worth} of travel, and "
            "by another time in every passage: this reading is one of many."
        )

    def sampling(self) -> Sampling | None:
        """See `TimingTable.sampling`."""
        return Sampling(self.cycle, PHASE)

    def smoothed(self) -> TimingTable:
        """See `TimingTable.smoothed`: an edge waits half a scan on average, whatever the scans' jitter."""
        latency = Quantity(0.5 * self.cycle.nominal, "s")
        return InterruptTable.model_construct(kind="interrupt", latency=latency, jitter=Quantity(0.0, "s"))
