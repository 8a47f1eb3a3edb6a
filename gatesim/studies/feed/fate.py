"""What becomes of each part of a stream, and which element is to blame."""

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.controller import controller_of
from gatesim.formula import FORMULAS, REGISTERS
from gatesim.ground.arrays import Array
from gatesim.ground.transition import level_at
from gatesim.scenario import Scenario
from gatesim.studies.feed.process import STAGES, Processed, latest, tally
from gatesim.studies.feed.supply import Crossings
from gatesim.studies.feed.undisturbed import undisturbed

Flags = NDArray[np.bool_]


class Fate(IntEnum):
    """What the controller makes of a part."""

    CORRECT = 0
    """One cycle, all of whose registers in use were latched by this part."""
    MERGED = 1
    """One darkness with a neighbour, at the first or second gate."""
    SPLIT = 2
    """More than one darkness, at the first or second gate."""
    MISSED = 3
    """No reading starts with it."""
    MIXED = 4
    """A reading starts with it and holds an edge of another part."""

    @property
    def word(self) -> str:
        """The word that is printed and exported."""
        return ("correct", "merged", "split", "missed", "mixed up")[self]

    @property
    def meaning(self) -> str:
        """What the word stands for."""
        return (
            "one cycle, all of whose registers in use hold this part's own edges",
            "it and a neighbour are one darkness at gate 1 or 2",
            "it is more than one darkness at gate 1 or 2",
            "no reading starts with it",
            "a reading starts with it and holds an edge of another part",
        )[self]


REARM = len(STAGES)
ELEMENTS = (*STAGES, "re-arming", "motion", "debouncing")
"""What may keep a part from a correct reading, in the order of the signal's way.

Motion: it never came. Debouncing: the filter lets chatter or an opening of the part through.
"""


@dataclass(frozen=True)
class Fates:
    """``fate`` (s, m) codes of `Fate`; ``element`` (s, m) indices into `ELEMENTS`, -1 where correct."""

    fate: NDArray[np.int64]
    element: NDArray[np.int64]


def registers_used(scenario: Scenario) -> tuple[str, ...]:
    """Registers that the formula in charge reads."""
    return FORMULAS[controller_of(scenario).formulas[0]].registers


def fates(scenario: Scenario, crossings: Crossings, processed: Processed) -> Fates:
    """Judge every part of s streams of m parts by the edges that the counter latched.

    An edge belongs to the darkness in the beam whose own edge came last before it, and this to
    the part that began or ended it. A part with another in its shadow counts as merged even
    if its own reading is right: two parts in one place push each other.
    """
    shape = crossings.gates[0].shape[:2]
    fate, element = np.full(shape, int(Fate.CORRECT)), np.full(shape, -1)
    rows = np.flatnonzero(~undisturbed(crossings, processed, registers_used(scenario)))
    if rows.size:
        judged = _judged(scenario, crossings.some(rows), processed.some(rows))
        fate[rows], element[rows] = judged.fate, judged.element
    return Fates(fate, element)


def _judged(scenario: Scenario, crossings: Crossings, processed: Processed) -> Fates:
    """As `fates`, for streams of any kind."""
    parts = crossings.gates[0].shape[1]
    makers = _Makers(crossings, processed)
    own = [_own_edges(makers, gate, parts) for gate in (0, 1)]
    started, read, correct = _cycles(scenario, makers, parts)
    stage = np.minimum(*(_lost_at(counts) for counts in own))
    together = np.zeros(stage.shape, bool)
    for gate in (0, 1):
        lost = own[gate][-1] == 0
        joined = lost & _dark_at(processed.signals[-1][gate], crossings.ends(gate))
        before = _before(crossings.starts(gate))
        together |= joined | _given_to(joined, before)
        stage = np.minimum(stage, _blame_host(joined, before, stage))
    split = (own[0][-1] > 1) | (own[1][-1] > 1)
    fate = np.full(stage.shape, int(Fate.MISSED))
    fate[started & read] = Fate.MIXED
    fate[together] = Fate.MERGED
    fate[split] = Fate.SPLIT
    fate[correct & ~split & ~together] = Fate.CORRECT
    element = np.where(split, ELEMENTS.index("debouncing"), stage)
    never = ~np.isfinite(crossings.starts(0)) | ~np.isfinite(crossings.starts(1))
    element = np.where(never, ELEMENTS.index("motion"), element)
    return Fates(fate, np.where(fate == Fate.CORRECT, -1, element))


@dataclass(frozen=True)
class _Makers:
    """Which part made an edge: first the darkness in the beam, then the part that began or ended it.

    The edges of a darkness are a dwell and a gap apart, further than any latency; those of a part
    are the very numbers of the darkness. ``known`` of the edges in the beam, by gate and direction.
    """

    crossings: Crossings
    processed: Processed
    known: dict[tuple[int, bool], NDArray[np.int64]] = field(default_factory=dict)

    def of(self, gate: int, times: Array, *, dark: bool) -> NDArray[np.int64]:
        """The part that made each edge at ``times`` (s, k) after some stage of a gate; -1 for none."""
        light = self.processed.signals[0][gate][:, 0 if dark else 1 :: 2]
        if (gate, dark) not in self.known:
            ends = self.crossings.starts(gate) if dark else self.crossings.ends(gate)
            self.known[gate, dark] = latest(ends, light, 0.0)
        place = latest(light, times, self.processed.guard)
        made = np.take_along_axis(self.known[gate, dark], np.maximum(place, 0), axis=1)
        return np.where(place >= 0, made, -1)


def _own_edges(makers: _Makers, gate: int, parts: int) -> list[NDArray[np.int64]]:
    """Edges to dark that each part has to itself after each stage, (s, m) each."""
    return [
        tally(makers.of(gate, signals[gate][:, ::2], dark=True), parts)
        for signals in makers.processed.signals
    ]


def _lost_at(counts: list[NDArray[np.int64]]) -> NDArray[np.int64]:
    """First stage after which a part has no edge of its own; that of re-arming if it keeps one."""
    lost = np.array([count == 0 for count in counts])
    return np.where(lost.any(axis=0), lost.argmax(axis=0), REARM)


def _dark_at(signal: Array, times: Array) -> Flags:
    """Whether the signal (s, k) is dark just before each part's end (s, m): it was, then, all along."""
    return level_at(signal, np.where(np.isfinite(times), times - 1e-12, -np.inf))


def _before(starts: Array) -> NDArray[np.int64]:
    """The part that arrives before each part, (s, m); -1 for the first."""
    order = np.argsort(starts, axis=1, kind="stable")
    previous = np.empty(order.shape, np.int64)
    leading = np.full((len(order), 1), -1)
    np.put_along_axis(previous, order, np.concatenate([leading, order[:, :-1]], axis=1), axis=1)
    return previous


def _given_to(flags: Flags, receiver: NDArray[np.int64]) -> Flags:
    """Flags (s, m) handed to the part ``receiver`` (s, m) of each flagged one."""
    given: Flags = tally(np.where(flags, receiver, -1), flags.shape[1]) > 0
    return given


def _blame_host(joined: Flags, before: NDArray[np.int64], stage: NDArray[np.int64]) -> NDArray[np.int64]:
    """The stage in which a neighbour was joined to each part, (s, m); re-arming if none was."""
    found = np.full(stage.shape, REARM)
    for number in range(REARM):
        here = _given_to(joined & (stage == number), before)
        found = np.where(here, np.minimum(found, number), found)
    return found


def _cycles(scenario: Scenario, makers: _Makers, parts: int) -> tuple[Flags, Flags, Flags]:
    """Which parts (s, m) started a cycle, one with a reading, and just one, all their own."""
    cycles = makers.processed.cycles
    first = makers.of(0, cycles.start, dark=True)
    complete = first >= 0
    alone = first >= 0
    for register in registers_used(scenario):
        latch = REGISTERS[register]
        times = getattr(cycles, register)
        owner = makers.of(latch.gate - 1, times, dark=latch.dark)
        complete &= owner >= 0
        alone &= owner == first
    started = tally(first, parts)
    read = tally(np.where(complete, first, -1), parts) > 0
    correct = (tally(np.where(alone, first, -1), parts) == 1) & (started == 1)
    return started > 0, read, correct
