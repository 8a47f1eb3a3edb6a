"""The counter: from edges at the gates to whole numbers in its registers."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gatesim.counter.cycle import Cycles, run_cycles
from gatesim.counter.source import Source
from gatesim.counter.timing import Timing
from gatesim.draw import Array, Draw
from gatesim.formula import Counts
from gatesim.outcome import Outcome
from gatesim.quantity import Scalar

REGISTERS = ("dwell", "capture", "rear_capture", "third_capture")


@dataclass(frozen=True)
class Counter:
    """A counter with gate and capture.

    ``width`` of the registers in bits; ``counting`` on until re-armed, or only while gate 1
    is dark; ``input_limit`` (Hz) that the count input follows. ``quantised`` off gives the
    expectation over the random phase instead of whole numbers (for sensitivities).
    """

    source: Source
    timing: Timing
    width: int = 32
    counting: Literal["until-rearm", "while-dark"] = "until-rearm"
    input_limit: Scalar = np.inf
    quantised: bool = True


@dataclass(frozen=True)
class Counted:
    """Registers of up to c cycles of n trials.

    ``registers``: name -> (n, c) counts, NaN where not latched. ``outcome`` (n, c).
    ``gates``: the edges as the counter acted on them. ``every``: one pulse counted of so
    many (n, c), 1 unless the input's frequency limit is exceeded. ``limit_ratio`` (n, c):
    frequency of the pulses over that limit.
    """

    registers: dict[str, Array]
    outcome: NDArray[np.int64]
    cycles: Cycles
    gates: tuple[Array, ...]
    every: Array
    limit_ratio: Array

    def counts(self, cycle: int = 0) -> Counts:
        """Registers of one cycle, (n,) each."""
        return Counts(**{key: self.registers[key][:, cycle] for key in REGISTERS})


def count(counter: Counter, gates: list[Array], draw: Draw, cycles: int = 1) -> Counted:
    """Play the edges of the gates (transition lists (n, k)) to the counter."""
    acted = [counter.timing.act_on(times, draw, gate) for gate, times in enumerate(gates, start=1)]
    latched = run_cycles(acted, cycles)
    phase = counter.source.phase(draw)
    shape = latched.start.shape
    registers = {key: np.full(shape, np.nan) for key in REGISTERS}
    every, ratio = np.ones(shape), np.zeros(shape)
    top = 2.0**counter.width
    outcome = _logic_outcome(counter, latched)
    for cycle in range(shape[1]):
        times = np.stack([getattr(latched, key)[:, cycle] for key in REGISTERS], axis=1)
        if counter.counting == "while-dark":
            times = _stop_at_gate(times, latched, cycle)
        progress = counter.source.progress(latched.start[:, cycle], times, phase)
        every[:, cycle], ratio[:, cycle] = _dead_time(counter, latched, progress, times, cycle)
        progress = progress / every[:, cycle, None]
        values = counter.source.whole(progress, phase) if counter.quantised else progress
        over = (values >= top).any(axis=1)  # NaN compares false
        outcome[:, cycle] = _first(outcome[:, cycle], over, Outcome.OVERFLOW)
        outcome[:, cycle] = _first(outcome[:, cycle], every[:, cycle] > 1.0, Outcome.PULSES_LOST)
        for number, key in enumerate(REGISTERS):
            registers[key][:, cycle] = np.mod(values[:, number], top)
    return Counted(registers, outcome, latched, tuple(acted), every, ratio)


def _stop_at_gate(times: Array, latched: Cycles, cycle: int) -> Array:
    """Moments as a counter sees them that stops while gate 1 is light: no later ones, no pauses."""
    dwell = times[:, :1]
    late = times > dwell
    stopped = np.where(late, np.nan, times)
    # with more than one dark interval only the dwell is corrected; earlier captures keep their count
    stopped[:, 0] -= latched.paused[:, cycle]
    return stopped


def _dead_time(
    counter: Counter, latched: Cycles, progress: Array, times: Array, cycle: int
) -> tuple[Array, Array]:
    """One pulse counted of so many, and pulse frequency over the limit.

    The input is blind for 1/limit after each pulse it accepts (non-paralysable dead time; G. F.
    Knoll, Radiation Detection and Measurement, ch. 4, from memory). Evenly spaced pulses at f
    are then counted one in ceil(f / limit), whatever the phase.
    """
    if np.all(np.isinf(counter.input_limit)):
        return np.ones(len(times)), np.zeros(len(times))
    with np.errstate(invalid="ignore", divide="ignore"):  # an empty dwell has no frequency
        rate = progress[:, 0] / (times[:, 0] - latched.start[:, cycle])
    ratio = np.nan_to_num(np.abs(rate) / counter.input_limit, nan=0.0, posinf=0.0)
    # a pulse train exactly at the limit is still followed, whatever the last bit says
    return np.maximum(1.0, np.ceil(ratio * (1.0 - 1e-12))), ratio


def _first(outcome: NDArray[np.int64], here: NDArray[np.bool_], code: Outcome) -> NDArray[np.int64]:
    """Outcomes with ``code`` set where nothing else has happened yet."""
    return np.where((outcome == Outcome.MEASURED) & here, int(code), outcome)


def _logic_outcome(counter: Counter, latched: Cycles) -> NDArray[np.int64]:
    """What the gate logic alone says of each cycle, (n, c)."""
    none = np.isnan(latched.start)
    no_capture, no_dwell = np.isnan(latched.capture), np.isnan(latched.dwell)
    rearmed = ~np.isnan(latched.rearm)
    outcome = np.zeros(none.shape, np.int64)
    outcome = _first(outcome, none, Outcome.NO_EDGE)
    outcome = _first(outcome, no_dwell & rearmed, Outcome.EARLY_REARM)
    outcome = _first(outcome, no_dwell | no_capture, Outcome.NO_CAPTURE)
    outcome = _first(outcome, latched.darkened > 1, Outcome.SPLIT)
    if counter.counting == "while-dark":
        outcome = _first(outcome, latched.capture > latched.dwell, Outcome.LATE_CAPTURE)
    return outcome
