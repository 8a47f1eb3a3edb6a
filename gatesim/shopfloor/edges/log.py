"""Passages of a record as the rows of a log, and the rig as the record sees it."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from gatesim.chain import pipeline
from gatesim.ground.draw import Nominal
from gatesim.ground.errors import InputError
from gatesim.ground.transition import edge_count
from gatesim.scenario import Scenario
from gatesim.scenario.reader import from_raw
from gatesim.shopfloor.edges.cut import Cut
from gatesim.shopfloor.log import BadRow, Log

REGISTERS = ("dwell", "capture", "rear_capture", "third_capture")


def own_edges(scenario: Scenario) -> dict[int, int]:
    """How many edges a part has itself at each gate: two, and two more for an opening that lets light in."""
    passed = pipeline.run(scenario.model_copy(update={"follower": None}), Nominal(1))
    return {gate: max(2, int(edge_count(times[:1])[0])) for gate, times in enumerate(passed.light, start=1)}


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
