"""Edges are time-stamped by an interrupt routine."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from pydantic import Field

from gatesim.counter.timing.base import Timing, TimingTable
from gatesim.ground import keys
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw, further_normal
from gatesim.ground.quantity import accepts, stated
from gatesim.ground.sampling import Continuous
from gatesim.ground.table import TableValues
from gatesim.ground.transition import trimmed, without_reversals


@dataclass(frozen=True)
@accepts(latency="s", jitter="s")
class Interrupt(Timing):
    """Edges are time-stamped by a routine that starts ``latency`` (s) late, give or take ``jitter``.

    The spread of the latency (s, normal, never before the edge) is what reaches the reading:
    a latency common to all edges cancels. Stamps out of order are a pulse that is not seen.
    Common practice, no source.
    """

    latency: Scalar
    jitter: Scalar

    def act_on(self, times: Array, draw: Draw, gate: int) -> Array:
        """See `Timing.act_on`."""
        edges, late = times.T, np.asarray(self.latency)  # a row for each edge, all trials at once
        if np.any(self.jitter):
            seed = draw.uniform(f"counter.interrupt_jitter@{gate}")
            number = np.arange(len(edges))[:, None]
            late = np.maximum(0.0, late + np.asarray(self.jitter) * further_normal(seed, number))
        return trimmed(without_reversals((edges + late).T))


class InterruptTable(Continuous, TimingTable):
    """Edges are time-stamped by an interrupt routine."""

    kind: Literal["interrupt"]
    latency: keys.Time = Field(description="Mean latency of the routine.")
    jitter: keys.Time = Field(
        default=stated("0 s", "s"),
        description="Standard deviation of the latency: normal, drawn anew for every edge of every gate; "
        "a latency below 0 is 0.",
    )

    def build(self, values: TableValues) -> Interrupt:
        """See `TimingTable.build`."""
        return Interrupt(values["latency"], values["jitter"])

    @property
    def setting(self) -> str:
        """See `TimingTable.setting`."""
        return "by an interrupt routine"

    @property
    def effect(self) -> str:
        """See `TimingTable.effect`."""
        return "lateness of the interrupt routine"

    @property
    def place(self) -> str:
        """See `TimingTable.place`."""
        return "the interrupt routine"

    @property
    def when_missed(self) -> str:
        """See `TimingTable.when_missed`."""
        return "and the interrupt routine stamps its two edges out of order, so that the part is never seen"

    @property
    def against_loss(self) -> str:
        """See `TimingTable.against_loss`."""
        return (
            "the interrupt routine stamps edges out of order: less jitter, or inputs that "
            "gate and capture in hardware, help"
        )

    def reason(self, speed: float) -> str:
        """See `TimingTable.reason`."""
        return "The routine that stamps the edges starts late."

    def side_note(self, speed: float) -> str:
        """See `TimingTable.side_note`."""
        return ""
