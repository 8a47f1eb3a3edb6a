"""Streams in which nothing went wrong, told at a glance: most streams of a rate near the limit are such."""

from collections.abc import Sequence

import numpy as np

from gatesim.formula import REGISTERS
from gatesim.ground.arrays import Array, Flags
from gatesim.studies.feed.process import Processed
from gatesim.studies.feed.supply import Crossings


def undisturbed(crossings: Crossings, processed: Processed, registers: Sequence[str]) -> Flags:
    """Streams (s,) each of whose parts has a darkness of its own at the first two gates, and a cycle.

    All edges are in step, then: the one of number i comes behind that of part i in the beam, and before
    that of the next. ``registers``: those of the cycles that count. Not told of parts with openings.
    """
    streams = len(crossings.gates[0])
    found = np.ones(streams, bool)
    if any(times.shape[2] != 2 for times in crossings.gates):
        return ~found
    for gate, times in enumerate(crossings.gates):
        light = times.reshape(streams, -1)
        found &= (light[:, :-1] < light[:, 1:]).all(axis=1) & np.isfinite(light[:, -1])
        before = light
        for signals in processed.signals[1:] if gate < 2 else ():
            if signals[gate] is not before:
                before = signals[gate]
                found &= _in_step(light[:, ::2], before[:, ::2], processed.guard)
    cycles = processed.cycles
    found &= _in_step(crossings.starts(0), cycles.start, processed.guard)
    for register in registers:
        latch = REGISTERS[register]
        edges = crossings.gates[latch.gate - 1][:, :, 0 if latch.dark else 1]
        found &= _in_step(edges, getattr(cycles, register), processed.guard)
    return found


def _in_step(marks: Array, times: Array, guard: float) -> Flags:
    """Rows in which every time (s, m and infinite ones) comes at or behind its own of the marks (s, m) only.

    ``guard`` lets a mark come so much later.
    """
    count = marks.shape[1]
    if times.shape[1] < count:
        return np.zeros(len(marks), bool)
    last = times[:, :count] + guard
    with np.errstate(invalid="ignore"):  # NaN: never latched
        found = (marks <= last).all(axis=1) & (last[:, :-1] < marks[:, 1:]).all(axis=1)
    ends: Flags = found & np.isfinite(last[:, -1]) & np.isinf(times[:, count:]).all(axis=1)
    return ends
