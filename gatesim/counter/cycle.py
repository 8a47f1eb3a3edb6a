"""Measuring cycles: which edges the counter latches, and when it is re-armed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array

Flags = NDArray[np.bool_]

LIGHT, DARK = 0, 1
MOMENTS = ("start", "dwell", "capture", "rear_capture", "third_capture", "rearm")


@dataclass(frozen=True)
class Cycles:
    """Moments latched in up to c cycles of n trials, (n, c) in s, NaN where nothing was.

    ``start`` leading edge at gate 1; ``dwell`` last trailing edge there before re-arming;
    ``capture`` first leading edge at gate 2; ``rear_capture`` last trailing edge there;
    ``third_capture`` leading edge at gate 3; ``rearm`` when the cycle ended. ``darkened``
    counts how often gate 1 went dark in the cycle.
    """

    start: Array
    dwell: Array
    capture: Array
    rear_capture: Array
    third_capture: Array
    rearm: Array
    darkened: NDArray[np.int64]


def run_cycles(gates: list[Array], cycles: int) -> Cycles:
    """Run the gate and capture logic over the edges of two or three gates.

    ``gates``: transition lists (n, k). A cycle starts when gate 1 goes dark. It ends when
    gate 3 goes dark, or without one when gates 1 and 2 are both light after the capture. Of
    edges at the same time, those of the earlier gate come first.
    """
    times = np.concatenate(gates, axis=1)
    kinds = [2 * gate + 1 - np.arange(t.shape[1], dtype=np.int8) % 2 for gate, t in enumerate(gates)]
    order = np.argsort(times, axis=1, kind="stable")
    # a row for each edge, all trials at once
    times = np.ascontiguousarray(np.take_along_axis(times, order, axis=1).T)
    codes = np.where(np.isfinite(times), np.ascontiguousarray(np.concatenate(kinds)[order].T), np.int8(-1))
    logic = _Logic(times.shape[1], cycles, has_third=len(gates) > 2)
    for now, code in zip(times, codes, strict=True):
        if not (code >= 0).any():
            break
        logic.step(now, code)
    return logic.result()


class _Logic:
    """State of n counters while their edges are played in; one call of `step` an edge."""

    def __init__(self, n: int, cycles: int, *, has_third: bool) -> None:
        self.has_third = has_third
        self.left = np.full(n, cycles)  # cycles that may still start
        self.running, self.captured = np.zeros(n, bool), np.zeros(n, bool)
        self.dark = [np.zeros(n, bool), np.zeros(n, bool)]
        self.records = {key: np.full((n, cycles), np.nan) for key in MOMENTS}
        self.times_dark = np.zeros((n, cycles), np.int64)
        self._begin_record(np.ones(n, bool))

    def _begin_record(self, rows: Flags) -> None:
        n = len(rows)
        if rows.all():
            self.now = {key: np.full(n, np.nan) for key in MOMENTS}
            self.darkened = np.zeros(n, np.int64)
            return
        for values in self.now.values():
            values[rows] = np.nan
        self.darkened[rows] = 0

    def _latch(self, key: str, rows: Flags, time: Array) -> None:
        np.copyto(self.now[key], time, where=rows)

    def step(self, time: Array, code: NDArray[np.int8]) -> None:
        """Play one edge to each counter; ``code`` is 2 gate + (1 to dark, 0 to light), -1 no edge."""
        self._first_gate(code == DARK, code == LIGHT, time)
        self._second_gate(code == 2 + DARK, code == 2 + LIGHT, time)
        if self.has_third:
            ends = (code == 4 + DARK) & self.running
            self._latch("third_capture", ends, time)
        else:
            both_light = ~(self.dark[0] | self.dark[1])
            ends = ((code == LIGHT) | (code == 2 + LIGHT)) & self.running & self.captured & both_light
        if ends.any():
            self._latch("rearm", ends, time)
            self._end(ends)

    def _first_gate(self, to_dark: Flags, to_light: Flags, time: Array) -> None:
        starts = to_dark & ~self.running & (self.left > 0)
        self._latch("start", starts, time)
        self.running |= starts
        self.darkened += to_dark & self.running
        self.dark[0] = (self.dark[0] | to_dark) & ~to_light
        self._latch("dwell", to_light & self.running, time)

    def _second_gate(self, to_dark: Flags, to_light: Flags, time: Array) -> None:
        captures = to_dark & self.running & ~self.captured
        self._latch("capture", captures, time)
        self.captured |= captures
        self._latch("rear_capture", to_light & self.running & self.captured, time)
        self.dark[1] = (self.dark[1] | to_dark) & ~to_light

    def _end(self, ends: Flags) -> None:
        """File the records of cycles that ended; the last one stays as it is."""
        self.running &= ~ends
        self.captured &= ~ends
        self.left -= ends
        more = ends & (self.left > 0)
        if more.any():
            self._file(more, self.left + 1)
            self._begin_record(more)

    def _file(self, rows: Flags, left: NDArray[np.int64]) -> None:
        trial = np.flatnonzero(rows)
        cycle = self.times_dark.shape[1] - left[trial]
        for key, values in self.now.items():
            self.records[key][trial, cycle] = values[trial]
        self.times_dark[trial, cycle] = self.darkened[trial]

    def result(self) -> Cycles:
        """What was latched in every cycle."""
        if self.times_dark.shape[1] == 1:
            return Cycles(
                **{key: values[:, None] for key, values in self.now.items()}, darkened=self.darkened[:, None]
            )
        self._file(np.ones(len(self.left), bool), np.maximum(self.left, 1))
        return Cycles(**self.records, darkened=self.times_dark)
