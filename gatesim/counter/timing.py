"""How the edges of the filtered inputs get to the counter."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from gatesim.draw import Array, Draw
from gatesim.quantity import Scalar
from gatesim.transition import compact, without_reversals


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
class Polled:
    """Inputs are read at the start of every scan; all gates share the scan.

    An edge waits for the next scan, whose start wanders by ``jitter`` (s, normal). A pulse
    between two scans is never seen. Common practice, no source.
    """

    cycle: Scalar
    jitter: Scalar

    def act_on(self, times: Array, draw: Draw, gate: int) -> Array:
        """See `Timing.act_on`."""
        phase = draw.uniform("counter.scan_phase")[:, None]
        cycle = np.asarray(self.cycle, float)
        cycle = cycle[:, None] if cycle.ndim else cycle
        scan = (np.ceil(times / cycle - phase) + phase) * cycle
        # two edges before the same scan are one pulse that was never seen
        seen = without_reversals(scan)
        return compact(seen + _wander(self.jitter, seen, draw, f"counter.scan_jitter@{gate}"))


@dataclass(frozen=True)
class Interrupt:
    """Edges are time-stamped by a routine that starts ``latency`` (s) late, give or take ``jitter``."""

    latency: Scalar
    jitter: Scalar

    def act_on(self, times: Array, draw: Draw, gate: int) -> Array:
        """See `Timing.act_on`."""
        latency = np.asarray(self.latency, float)
        late = times + (latency[:, None] if latency.ndim else latency)
        return compact(
            without_reversals(late + _wander(self.jitter, late, draw, f"counter.interrupt_jitter@{gate}"))
        )


def _wander(jitter: Scalar, times: Array, draw: Draw, name: str) -> Array:
    if not np.any(jitter):
        return np.zeros(times.shape)
    deviation = np.asarray(jitter, float)
    deviation = deviation[:, None] if deviation.ndim else deviation
    return deviation * draw.normal(name, times.shape[1])
