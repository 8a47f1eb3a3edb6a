"""Measuring cycles: which edges the counter latches, and when it is re-armed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.draw import Array

LIGHT, DARK = 0, 1


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
    gate 3 goes dark, or without one when gates 1 and 2 are both light after the capture.
    """
    times = np.concatenate(gates, axis=1)
    codes = np.concatenate([2 * gate + 1 - np.arange(t.shape[1]) % 2 for gate, t in enumerate(gates)])
    order = np.argsort(times, axis=1, kind="stable")
    times = np.take_along_axis(times, order, axis=1)
    codes = codes[order]
    logic = _Logic(len(times), cycles, has_third=len(gates) > 2)
    for column in range(times.shape[1]):
        now, code = times[:, column], codes[:, column]
        here = np.isfinite(now)
        if not here.any():
            break
        logic.step(now, code, here)
    return logic.result()


class _Logic:
    """State of n counters while their edges are played in; one call of `step` an edge."""

    def __init__(self, n: int, cycles: int, *, has_third: bool) -> None:
        self.has_third = has_third
        self.cycles = cycles
        self.rows = np.arange(n)
        self.cycle = np.zeros(n, np.int64)  # which record the running cycle writes
        self.running = np.zeros(n, bool)
        self.dark = np.zeros((2, n), bool)
        self.moment = {
            key: np.full((n, cycles + 1), np.nan)  # one column more takes what comes after the last
            for key in ("start", "dwell", "capture", "rear_capture", "third_capture", "rearm")
        }
        self.darkened = np.zeros((n, cycles + 1), np.int64)

    def _latch(self, key: str, rows: NDArray[np.bool_], now: Array) -> None:
        self.moment[key][self.rows[rows], self.cycle[rows]] = now[rows]

    def _latched(self, key: str) -> NDArray[np.bool_]:
        latched: NDArray[np.bool_] = ~np.isnan(self.moment[key][self.rows, self.cycle])
        return latched

    def step(self, now: Array, code: NDArray[np.int64], here: NDArray[np.bool_]) -> None:
        gate, dark = code // 2, code % 2 == DARK
        first, second, third = (here & (gate == g) for g in range(3))
        self._first_gate(first, dark, now)
        self._second_gate(second, dark, now)
        if self.has_third:
            ends = third & dark & self.running
            self._latch("third_capture", ends, now)
        else:
            captured = self._latched("capture")
            ends = (first | second) & ~dark & self.running & captured & ~self.dark[0] & ~self.dark[1]
        self._latch("rearm", ends, now)
        self.running &= ~ends
        self.cycle = np.where(ends, np.minimum(self.cycle + 1, self.cycles), self.cycle)

    def _first_gate(self, at: NDArray[np.bool_], dark: NDArray[np.bool_], now: Array) -> None:
        starts = at & dark & ~self.running & (self.cycle < self.cycles)
        again = at & dark & self.running
        self._latch("start", starts, now)
        self.running |= starts
        self.darkened[self.rows, self.cycle] += starts | again
        self.dark[0] = np.where(at, dark, self.dark[0])
        self._latch("dwell", at & ~dark & self.running, now)

    def _second_gate(self, at: NDArray[np.bool_], dark: NDArray[np.bool_], now: Array) -> None:
        self._latch("capture", at & dark & self.running & ~self._latched("capture"), now)
        self._latch("rear_capture", at & ~dark & self.running & self._latched("capture"), now)
        self.dark[1] = np.where(at, dark, self.dark[1])

    def result(self) -> Cycles:
        kept = {key: value[:, : self.cycles] for key, value in self.moment.items()}
        return Cycles(**kept, darkened=self.darkened[:, : self.cycles])
