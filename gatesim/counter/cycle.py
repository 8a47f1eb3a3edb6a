"""Measuring cycles: which edges the counter latches, and when it is re-armed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Flags

Kinds = NDArray[np.int8]

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
    times = np.concatenate([times.T for times in gates])  # a row for each edge, all trials at once
    kinds = [2 * gate + 1 - np.arange(t.shape[1], dtype=np.int8) % 2 for gate, t in enumerate(gates)]
    times, codes = _in_order(times, np.concatenate(kinds))
    logic = _Logic(times.shape[1], cycles, has_third=len(gates) > 2)
    for now, code in zip(times, codes, strict=True):
        if not (code >= 0).any():
            break
        logic.step(now, code)
    return logic.result()


def _in_order(times: Array, kinds: Kinds) -> tuple[Array, Kinds]:
    """Times (k, n), each row of one of ``kinds``, in order; and the kind of each, -1 where there is none.

    Most trials have their edges in one order: only the others are sorted.
    """
    order = np.argsort(times[:, :1], axis=0, kind="stable")[:, 0]
    usual = times[order]
    # of edges at the same time, the one that stands first comes first
    later = (order[1:] > order[:-1])[:, None]
    in_turn = (usual[:-1] < usual[1:]) | (later & (usual[:-1] == usual[1:]))
    codes = np.where(usual < np.inf, kinds[order][:, None], np.int8(-1))
    others = np.flatnonzero(~in_turn.all(axis=0))
    if others.size:
        rows = np.ascontiguousarray(times[:, others].T)
        turn = np.argsort(rows, axis=1, kind="stable")
        sorted_rows = np.take_along_axis(rows, turn, axis=1)
        usual[:, others] = sorted_rows.T
        codes[:, others] = np.where(sorted_rows < np.inf, kinds[turn], np.int8(-1)).T
    return usual, codes


class _Logic:
    """State of n counters while their edges are played in; one call of `step` an edge."""

    def __init__(self, n: int, cycles: int, *, has_third: bool) -> None:
        self.has_third = has_third
        self.left = np.full(n, cycles)  # cycles that may still start
        self.running, self.captured = np.zeros(n, bool), np.zeros(n, bool)
        self.dark = [np.zeros(n, bool), np.zeros(n, bool)]
        self.cycles = cycles
        kept = cycles if cycles > 1 else 0  # the only one stays where it is
        self.records = {key: np.full((n, kept), np.nan) for key in MOMENTS}
        self.times_dark = np.zeros((n, kept), np.int64)
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

    def step(self, time: Array, code: Kinds) -> None:
        """Play one edge to each counter; ``code`` is 2 gate + (1 to dark, 0 to light), -1 no edge."""
        for gate, (dark, light) in enumerate(((self._starts, self._dwells), (self._captures, self._leaves))):
            for kind, play in ((2 * gate + DARK, dark), (2 * gate + LIGHT, light)):
                here = code == kind
                if here.any():
                    play(here, time)
        if self.has_third:
            ends = (code == 4 + DARK) & self.running
            self._latch("third_capture", ends, time)
        else:
            both_light = ~(self.dark[0] | self.dark[1])
            ends = ((code == LIGHT) | (code == 2 + LIGHT)) & self.running & self.captured & both_light
        if ends.any():
            self._latch("rearm", ends, time)
            self._end(ends)

    def _latch(self, key: str, rows: Flags, time: Array) -> None:
        np.copyto(self.now[key], time, where=rows)

    def _starts(self, here: Flags, time: Array) -> None:
        starts = here & ~self.running & (self.left > 0)
        self._latch("start", starts, time)
        self.running |= starts
        self.darkened += here & self.running
        self.dark[0] |= here

    def _dwells(self, here: Flags, time: Array) -> None:
        self.dark[0] &= ~here
        self._latch("dwell", here & self.running, time)

    def _captures(self, here: Flags, time: Array) -> None:
        captures = here & self.running & ~self.captured
        self._latch("capture", captures, time)
        self.captured |= captures
        self.dark[1] |= here

    def _leaves(self, here: Flags, time: Array) -> None:
        self.dark[1] &= ~here
        self._latch("rear_capture", here & self.running & self.captured, time)

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
        cycle = self.cycles - left[trial]
        for key, values in self.now.items():
            self.records[key][trial, cycle] = values[trial]
        self.times_dark[trial, cycle] = self.darkened[trial]

    def result(self) -> Cycles:
        """What was latched in every cycle."""
        if self.cycles == 1:
            return Cycles(
                **{key: values[:, None] for key, values in self.now.items()}, darkened=self.darkened[:, None]
            )
        self._file(np.ones(len(self.left), bool), np.maximum(self.left, 1))
        return Cycles(**self.records, darkened=self.times_dark)
