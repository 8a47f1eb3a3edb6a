"""Passages of a record as the rows of a log, and the rig as the record sees it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from gatesim.chain import pipeline
from gatesim.ground.arrays import Array
from gatesim.ground.draw import Nominal
from gatesim.ground.errors import InputError
from gatesim.ground.transition import edge_count
from gatesim.scenario import Scenario
from gatesim.scenario.reader import from_raw
from gatesim.shopfloor.edges.bursts import Bursts, bursts
from gatesim.shopfloor.edgetimes import GatePassage
from gatesim.shopfloor.log import BadRow, Log

FINEST = 1e-9
"""Step in s below which time stamps count as exact."""
REGISTERS = ("dwell", "capture", "rear_capture", "third_capture")


@dataclass(frozen=True)
class Cut:
    """A passage cut into bursts, by gate; ``number`` in the record, from 1."""

    number: int
    gates: Mapping[int, Bursts]


def step_of(times: Array) -> float:
    """The step in s, 1, 2 or 5 times a power of ten, that all time stamps are multiples of."""
    for power in range(0, -9, -1):
        for digit in (5.0, 2.0, 1.0):
            step = digit * 10.0**power
            off = np.abs(times / step - np.rint(times / step))
            if np.all(off * step <= 1e-12 + 1e-13 * np.abs(times).max(initial=0.0)):
                return step
    return FINEST


def own_edges(scenario: Scenario) -> dict[int, int]:
    """How many edges a part has itself at each gate: two, and two more for an opening that lets light in."""
    passed = pipeline.run(scenario, Nominal(1))
    return {gate: int(edge_count(times[:1])[0]) for gate, times in enumerate(passed.light, start=1)}


def cut(
    passages: Sequence[Mapping[int, GatePassage]], own: Mapping[int, int]
) -> tuple[list[Cut], list[BadRow]]:
    """Every passage in bursts; those of which a gate makes no sense, or lacks gate 1, are set apart."""
    kept, bad = [], []
    for number, passage in enumerate(passages, start=1):
        found = {gate: bursts(seen.edges, own.get(gate, 2)) for gate, seen in passage.items()}
        unclear = [gate for gate, burst in found.items() if burst is None]
        if unclear:
            gate = unclear[0]
            reason = (
                f"{len(passage[gate].edges)} edges at gate {gate} do not fall into {own.get(gate, 2)} "
                "bursts, each of an edge of the part and whole extra pulses"
            )
            bad.append(BadRow(number, reason, ""))
        elif 1 not in found:
            bad.append(BadRow(number, "gate 1 is not seen in it", ""))
        else:
            kept.append(Cut(number, {gate: burst for gate, burst in found.items() if burst is not None}))
    return kept, bad


def times_of(passage: Cut) -> dict[str, float]:
    """Registers as times in s after the first edge at gate 1, of a counter that re-arms at gate 3."""
    gates = passage.gates
    start, rearm = float(gates[1].own[0]), float(gates[3].own[0]) if 3 in gates else np.inf
    found = {"dwell": float(gates[1].own[-1])}
    if 2 in gates:
        found |= {"capture": float(gates[2].own[0]), "rear_capture": float(gates[2].own[-1])}
    found = {name: time for name, time in found.items() if time < rearm}
    if np.isfinite(rearm):
        found["third_capture"] = rearm
    return {name: time - start for name, time in found.items()}


def as_recorded(scenario: Scenario, step: float, longest: float, jitter: float | None) -> Scenario:
    """The rig with the recorder for its counter: no input filter, no chatter, counts of ``step`` (s).

    ``longest`` (s) passage that the counts must hold; ``jitter`` (s) in place of the stated one.
    """
    raw = {
        key: value
        for key, value in scenario.raw.items()
        if key not in ("filter", "follower", "formula", "fitted")
    }
    frequency = min(1.0 / step, 2.0**31 / max(longest, 1e-3))
    raw["counter"] = {"frequency": f"{frequency!r} Hz"}
    sensor = raw.get("sensor", {})
    raw["sensor"] = {
        key: _quiet(value, None) if key.startswith("gate") else value
        for key, value in _quiet(sensor, jitter).items()
    }
    return from_raw(raw, scenario.file)


def _quiet(sensor: Mapping[str, Any], jitter: float | None) -> dict[str, Any]:
    kept = {key: value for key, value in sensor.items() if key != "chatter"}
    return kept if jitter is None else {**kept, "jitter": f"{jitter!r} s"}


def log_of(
    file: str, found: Sequence[Cut], bad: Sequence[BadRow], frequency: float, reference: float | None
) -> Log:
    """The passages as rows of counts; ``reference`` (m): the length of the part in all of them."""
    if not found:
        first = f"; passage {bad[0].line}: {bad[0].reason}" if bad else ""
        raise InputError(f"{file}: no passage can be used{first}")
    rows = [times_of(passage) for passage in found]
    numbers = {
        name: np.rint(np.array([row.get(name, np.nan) for row in rows]) * frequency) for name in REGISTERS
    }
    numbers = {name: column for name, column in numbers.items() if np.isfinite(column).any()}
    if reference is not None:
        numbers["reference"] = np.full(len(rows), reference)
    begun = np.array([passage.gates[1].own[0] for passage in found])
    numbers["time"] = begun - begun[0]
    return Log(file, numbers, {}, {}, tuple(passage.number for passage in found), tuple(bad), ())
