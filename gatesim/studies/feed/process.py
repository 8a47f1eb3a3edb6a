"""Gates, filters, capture and re-arm as one process in time over a stream of parts."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.assembly import filter_of, sensor_of
from gatesim.chain.pipeline import drawn
from gatesim.chain.signals import signals
from gatesim.counter import Cycles, acted_on, run_cycles
from gatesim.ground.arrays import Array, take
from gatesim.ground.draw import Draw
from gatesim.ground.table import TableValues
from gatesim.ground.transition import counted_up_to, merged
from gatesim.scenario import Scenario
from gatesim.studies.feed.supply import Crossings

STAGES = ("beam", "sensor", "input filter", "timing of the inputs")
"""What a signal passes on its way to the counter's logic; in each, parts may run together or be lost."""


@dataclass(frozen=True)
class Processed:
    """Signals of s streams at each gate after each of `STAGES`, (s, k) transition lists, and the cycles.

    ``guard`` (s): how much earlier than its cause an edge may come, by jitter.
    """

    signals: tuple[tuple[Array, ...], ...]
    cycles: Cycles
    guard: float

    def some(self, rows: NDArray[np.intp]) -> "Processed":
        """Some of the streams."""
        seen = tuple(tuple(times[rows] for times in gates) for gates in self.signals)
        return Processed(seen, take(self.cycles, rows), self.guard)


def process(scenario: Scenario, crossings: Crossings, streams: Draw) -> Processed:
    """Run the rig over the streams; its state carries over from part to part."""
    values = drawn(scenario, streams)
    parts = crossings.gates[0].shape[1]
    sensors = [sensor_of(scenario, values, gate) for gate in range(1, len(crossings.gates) + 1)]
    light = [_together(times) for times in crossings.gates]
    sensed, filtered = signals(sensors, filter_of(scenario, values), light, streams)
    timing = scenario.counter.timing.build(TableValues(values, "counter.timing"))
    acted = acted_on(timing, filtered, streams)
    jitter = max(float(np.max(sensor.response.jitter)) for sensor in sensors)
    seen = (tuple(light), tuple(sensed), tuple(filtered), tuple(acted))
    return Processed(seen, run_cycles(acted, parts), 8.0 * jitter + 1e-12)


def _together(times: Array) -> Array:
    """Light at a gate past which all parts of each stream go, (s, k), from that of each part (s, m, e)."""
    light = times.reshape(len(times), -1)
    # parts one after another: nothing to merge
    rows = np.flatnonzero(~(light[:, :-1] < light[:, 1:]).all(axis=1))
    if rows.size:
        light = light.copy()
        light[rows] = merged([times[rows, part] for part in range(times.shape[1])])
    return light


def latest(marks: Array, times: Array, guard: float) -> NDArray[np.int64]:
    """Which of the marks (s, m) of its row came last at or before each time (s, k): (s, k), -1 for none.

    ``guard`` lets a mark come so much later. NaN and infinite times have none.
    """
    known = np.isfinite(times)
    wanted = np.where(known, times + guard, -np.inf)
    if (marks[:, :-1] <= marks[:, 1:]).all():
        return counted_up_to(marks, wanted) - 1
    order = np.argsort(marks, axis=1, kind="stable")
    rank = counted_up_to(np.take_along_axis(marks, order, axis=1), wanted) - 1
    found: NDArray[np.int64] = np.take_along_axis(order, np.maximum(rank, 0), axis=1)
    return np.where(rank >= 0, found, -1)


def tally(owner: NDArray[np.int64], parts: int) -> NDArray[np.int64]:
    """How often each part occurs in ``owner`` (s, k), (s, parts); -1 is nobody."""
    size = len(owner) * parts
    flat = np.where(owner >= 0, owner + parts * np.arange(len(owner))[:, None], size)
    return np.bincount(flat.ravel(), minlength=size + 1)[:size].reshape(len(owner), parts)
