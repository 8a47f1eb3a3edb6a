"""The counter: from edges at the gates to whole numbers in its registers."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gatesim.counter.cycle import Cycles, run_cycles
from gatesim.counter.source import Source
from gatesim.counter.timing import Timing
from gatesim.formula import Counts
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw
from gatesim.ground.outcome import Outcome
from gatesim.inputfilter import Filter, share_passed

REGISTERS = ("dwell", "capture", "rear_capture", "third_capture")


@dataclass(frozen=True)
class Counter:
    """A counter with gate and capture.

    ``width`` of the registers in bits; ``counting`` on until re-armed, or only while gate 1
    is dark; ``input_limit`` (Hz) that the count input follows. ``quantised`` off gives the
    expectation over the random phase instead of whole numbers (for sensitivities).
    ``pulse_filter``: what the pulses pass on their way to the count input, None without one.
    """

    source: Source
    timing: Timing
    width: int = 32
    counting: Literal["until-rearm", "while-dark"] = "until-rearm"
    input_limit: Scalar = np.inf
    quantised: bool = True
    pulse_filter: Filter | None = None

    @property
    def filters(self) -> bool:
        """Whether pulses pass a filter that may keep some from the count input."""
        return self.pulse_filter is not None and self.pulse_filter.minimum_pulse_width > 0.0

    @property
    def loses(self) -> bool:
        """Whether the count input may miss pulses."""
        limited = bool(np.any(np.isfinite(self.input_limit)))
        return limited or self.filters


@dataclass(frozen=True)
class Counted:
    """Registers of up to c cycles of n trials.

    ``registers``: name -> (n, c) counts, NaN where not latched. ``outcome`` (n, c).
    ``gates``: the edges as the counter acted on them. ``every``: one pulse counted of so
    many (n, c), 1 unless the input's frequency limit is exceeded or a filter swallows pulses,
    infinite if it swallows all. ``limit_ratio`` (n, c): frequency of the pulses over that limit.
    ``overflowed``: name -> (n, c) registers that passed their width and began again from 0.
    """

    registers: dict[str, Array]
    outcome: NDArray[np.int64]
    cycles: Cycles
    gates: tuple[Array, ...]
    every: Array
    limit_ratio: Array
    counter: Counter
    phase: Array
    overflowed: dict[str, NDArray[np.bool_]]

    def register_at(self, times: Array) -> Array:
        """What the count register holds at times (n, k): 0 while no cycle runs."""
        held = np.zeros(times.shape)
        for cycle in range(self.outcome.shape[1]):
            start, rearm = self.cycles.start[:, cycle, None], self.cycles.rearm[:, cycle, None]
            value = _count_at(
                self.counter, self.gates[0], start[:, 0], times, self.phase, self.every[:, cycle]
            )
            inside = (times >= start) & ~(times >= rearm)
            held = np.where(inside, np.mod(value, 2.0**self.counter.width), held)
        return held

    def counts(self, cycle: int = 0) -> Counts:
        """Registers of one cycle, (n,) each."""
        return Counts(**{key: self.registers[key][:, cycle] for key in REGISTERS})


def acted_on(timing: Timing, gates: Sequence[Array], draw: Draw) -> list[Array]:
    """Edges of the gates (transition lists (n, k)) at the times at which the counter acts on them."""
    return [timing.act_on(times, draw, gate) for gate, times in enumerate(gates, start=1)]


@dataclass(frozen=True)
class Latched:
    """Edges of the gates at the times at which a counter acts on them, and the cycles that they make."""

    acted: tuple[Array, ...]
    cycles: Cycles


def latch(timing: Timing, gates: Sequence[Array], draw: Draw, cycles: int = 1) -> Latched:
    """Play the edges of the gates (transition lists (n, k)) to the gate and capture logic."""
    acted = acted_on(timing, gates, draw)
    return Latched(tuple(acted), run_cycles(acted, cycles))


def count(
    counter: Counter,
    gates: Sequence[Array],
    draw: Draw,
    cycles: int = 1,
    needed: Collection[str] = REGISTERS,
    known: Latched | None = None,
) -> Counted:
    """Play the edges of the gates (transition lists (n, k)) to the counter.

    An overflow is an outcome in the registers ``needed`` only: what nobody reads spoils nothing.
    ``known``: what `latch` makes of the same, where that has been done already.
    """
    known = latch(counter.timing, gates, draw, cycles) if known is None else known
    acted, latched = known.acted, known.cycles
    phase = counter.source.phase(draw)
    shape = latched.start.shape
    registers = {key: np.full(shape, np.nan) for key in REGISTERS}
    overflowed = {key: np.zeros(shape, bool) for key in REGISTERS}
    every, ratio = np.ones(shape), np.zeros(shape)
    top = 2.0**counter.width
    outcome = _logic_outcome(counter, latched)
    keys = REGISTERS if len(acted) > 2 else REGISTERS[:-1]  # without a third gate nothing is latched at it
    for cycle in range(shape[1]):
        start = latched.start[:, cycle]
        # columns as they lie in memory: each is worked on by itself
        times = np.stack([getattr(latched, key)[:, cycle] for key in keys]).T
        if counter.counting == "while-dark":
            # the count stands still once gate 1 is light for good: what is latched later says nothing
            times = np.where(times > times[:, :1], np.nan, times)
        progress = counter.source.progress(start, times, phase)
        if counter.loses:
            rate = _pulse_rate(counter, progress[:, 0], times[:, 0] - start)
            every[:, cycle], ratio[:, cycle] = _one_of(counter, rate, draw)
        if counter.counting == "while-dark":
            values = _while_dark(counter, acted[0], start, times, phase, every[:, cycle])
        else:
            values = _held(counter, progress, phase, every[:, cycle])
        over = values >= top  # NaN compares false
        if over.any():
            spoilt = np.any(over[:, [key in needed for key in keys]], axis=1)
            outcome[:, cycle] = _first(outcome[:, cycle], spoilt, Outcome.OVERFLOW)
        outcome[:, cycle] = _first(outcome[:, cycle], every[:, cycle] > 1.0, Outcome.PULSES_LOST)
        values = np.mod(values, top) if over.any() or np.any(values < 0.0) else values
        for number, key in enumerate(keys):
            registers[key][:, cycle], overflowed[key][:, cycle] = values[:, number], over[:, number]
    return Counted(registers, outcome, latched, acted, every, ratio, counter, phase, overflowed)


def _count_at(counter: Counter, gate: Array, start: Array, times: Array, phase: Array, every: Array) -> Array:
    """Counts from ``start`` (n,) to ``times`` (n, k), NaN kept; ``gate`` is the list of gate 1."""
    if counter.counting == "while-dark":
        return _while_dark(counter, gate, start, times, phase, every)
    return _held(counter, counter.source.progress(start, times, phase), phase, every)


def _held(counter: Counter, progress: Array, phase: Array, every: Array) -> Array:
    """What a register holds after so much progress (n, k), of which one pulse of so many is counted."""
    counted = progress / every[:, None]
    return counter.source.whole(counted, phase) if counter.quantised else counted


def _while_dark(
    counter: Counter, gate: Array, start: Array, times: Array, phase: Array, every: Array
) -> Array:
    """As `_count_at`, the spells together in which gate 1 is dark."""

    def counted(until: Array) -> Array:
        return _held(counter, counter.source.progress(start, until, phase), phase, every)

    total = np.where(np.isnan(times), np.nan, 0.0)
    for column in range(0, gate.shape[1], 2):
        dark, light = gate[:, column, None], gate[:, column + 1 : column + 2]
        light = light if light.size else np.full_like(dark, np.inf)  # for good
        counts = (dark >= start[:, None]) & (dark < times)
        spell = counted(np.where(counts, np.minimum(light, times), start[:, None]))
        total += spell - counted(np.where(counts, dark, start[:, None]))
    return total


def _pulse_rate(counter: Counter, progress: Array, dwell: Array) -> Array:
    """Mean frequency in Hz (n,) of the pulses that make so much progress in the dwell (s); 0 without one.

    It is that of one channel: an encoder's edge factor multiplies counts, not pulses.
    """
    with np.errstate(invalid="ignore", divide="ignore"):  # an empty dwell has no frequency
        rate = np.abs(progress) / counter.source.counts_per_pulse / dwell
    return np.nan_to_num(rate, nan=0.0, posinf=0.0)


def _one_of(counter: Counter, rate: Array, draw: Draw) -> tuple[Array, Array]:
    """One pulse counted of so many (n,), and pulse frequency over the limit (n,).

    The input is blind for 1/limit after each pulse it accepts (non-paralysable dead time; G. F.
    Knoll, Radiation Detection and Measurement, ch. 4, from memory), since an input circuit that
    recovers within 1/limit follows every slower train and loses pulses of a faster one. Evenly
    spaced pulses at f are then counted one in ceil(f / limit), whatever the phase.
    """
    ratio = rate / counter.input_limit
    # a pulse train exactly at the limit is still followed, whatever the last bit says
    every = np.maximum(1.0, np.ceil(ratio * (1.0 - 1e-12)))
    if counter.pulse_filter is not None and counter.filters:
        with np.errstate(divide="ignore"):  # nothing passes: one of infinitely many
            every = every / share_passed(counter.pulse_filter, rate, draw)
    return every, ratio


def _first(outcome: NDArray[np.int64], here: NDArray[np.bool_], code: Outcome) -> NDArray[np.int64]:
    """Outcomes with ``code`` set where nothing else has happened yet."""
    if not here.any():
        return outcome
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
