"""Edges in time as a logic analyser or an oscilloscope records them: read, and cut into passages.

A CSV file has one row a change, "time [us],gate1,gate2" with levels 0 and 1, or one row an edge,
"time [us],channel,level"; a value change dump (IEEE 1364) its signals of one bit.
"""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import ClassVar

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import parse
from gatesim.ground.valuechange import Signal, read
from gatesim.shopfloor.textfile import text_of


@dataclass(frozen=True)
class GatePassage:
    """What one gate saw of a passage: ``edges`` in s, alternately to dark and to light."""

    edges: tuple[float, ...]

    @property
    def front(self) -> float:
        """First edge to dark, s."""
        return self.edges[0]

    @property
    def rear(self) -> float:
        """Last edge to light, s."""
        return self.edges[-1]

    @property
    def extra(self) -> int:
        """Edges between these two: chatter, or openings."""
        return len(self.edges) - 2

    @property
    def dwell(self) -> float:
        """How long it was dark, chatter included, in s."""
        return self.rear - self.front

    KEYS: ClassVar[Keys] = {
        "front": "front_s", "rear": "rear_s", "dwell": "dwell_s", "extra": "extra_edges", "edges": "edges_s",
    }  # fmt: skip


@dataclass(frozen=True)
class Record:
    """Passages in a file: of every gate by number its edges; ``channels`` of the gates, ``quiet`` in s."""

    file: str
    channels: Mapping[int, str]
    quiet: float
    passages: tuple[Mapping[int, GatePassage], ...]


def is_record(path: Path) -> bool:
    """Whether a file is a record of edges and not a log of counts; False if it cannot be read."""
    try:
        with path.open(encoding="utf-8-sig") as file:
            start = [line for line in file.readlines(65536) if line.strip() and line[0] != "#"]
    except (OSError, UnicodeDecodeError):
        return False
    if path.suffix.lower() == ".vcd" or any(line.startswith("$") for line in start[:1]):
        return True
    head = start[0].lower() if start else ""
    return head.startswith("time") and not any(
        name in head for name in ("dwell", "capture", "length", "reference")
    )


def read_signals(path: Path) -> dict[str, Signal]:
    """The channels of a file by name. Raises InputError."""
    text = text_of(path, "edge times as CSV or VCD")
    if "$enddefinitions" not in text and path.suffix.lower() != ".vcd":
        return _from_csv(path, text)
    try:
        return read(text)
    except ValueError as reason:
        raise InputError(f"{path}: {reason}, expected a value change dump (IEEE 1364)") from None


def _from_csv(path: Path, text: str) -> dict[str, Signal]:
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and line[0] != "#"]
    if not lines:
        raise InputError(f"{path}: the file is empty, expected edge times as CSV or VCD")
    separator = max(",;\t", key=lines[0][1].count)
    names, *rows = csv.reader([line for _, line in lines], delimiter=separator)
    names = [name.strip() for name in names]
    unit = names[0].partition("[")[2].partition("]")[0].strip()
    if not names[0].lower().startswith("time") or not unit or len(names) < 2:
        expected = 'a header such as "time [us],gate1,gate2" or "time [us],channel,level"'
        raise InputError(f"{path}, line {lines[0][0]}: given {lines[0][1]!r}, expected {expected}")
    try:
        factor = parse(f"1 {unit}", "s")[0]
    except ValueError as reason:
        raise InputError(f"{path}, line {lines[0][0]}: given the unit {unit!r} ({reason})") from None
    by_edge = [name.lower() for name in names[1:]] == ["channel", "level"]
    changes: dict[str, list[tuple[float, bool]]] = {} if by_edge else {name: [] for name in names[1:]}
    for (number, _), row in zip(lines[1:], rows, strict=True):
        where = f"{path}, line {number}"
        if len(row) != len(names):
            raise InputError(f"{where}: {len(row)} fields, expected {len(names)} as in the header")
        time = _time(row[0], separator, where) * factor
        pairs = [(row[1].strip(), row[2])] if by_edge else list(zip(names[1:], row[1:], strict=True))
        for name, level in pairs:
            if level.strip() not in ("0", "1"):
                raise InputError(f"{where}: given the level {level.strip()!r}, expected 0 or 1")
            changes.setdefault(name, []).append((time, level.strip() == "1"))
    return {name: _signal(found, f"{path}: channel {name!r}") for name, found in changes.items()}


def _time(text: str, separator: str, where: str) -> float:
    try:
        time = float(text.replace(",", ".") if separator != "," else text)
    except ValueError:
        time = np.nan
    if not np.isfinite(time):
        raise InputError(f"{where}: given the time {text.strip()!r}, expected a number")
    return time


def _signal(changes: Sequence[tuple[float, bool]], where: str) -> Signal:
    """Its changes only. Raises InputError where the times do not rise."""
    for (before, _), (time, _) in pairwise(changes):
        if time < before:
            order = f"given {time:.9g} s after {before:.9g} s, expected edges in the order of time"
            raise InputError(f"{where}: its times do not rise, {order}")
    kept = [c for n, c in enumerate(changes) if n == 0 or c[1] != changes[n - 1][1]]
    return Signal(np.array([time for time, _ in kept]), tuple(high for _, high in kept))


def passages_of(gates: Mapping[int, Signal], dark: bool, quiet: float) -> list[dict[int, GatePassage]]:
    """Cut where every gate has been light for ``quiet`` (s); ``dark`` is the level of a dark gate.

    A gate that is dark as the record begins or ends is not told of there.
    """
    edges = [
        (time, gate, high == dark, n == 0)
        for gate, signal in gates.items()
        for n, (time, high) in enumerate(zip(signal.time.tolist(), signal.high, strict=True))
    ]
    edges.sort(key=lambda edge: edge[:2])  # edges of a gate within one step stay in their order
    level = dict.fromkeys(gates, False)
    found: list[dict[int, list[tuple[float, bool]]]] = []
    before = -np.inf
    for time, gate, to_dark, start in edges:
        if start:  # the level as the record begins is no edge
            level[gate] = to_dark
            continue
        if not found or (not any(level.values()) and time - before >= quiet):
            found.append({})
        found[-1].setdefault(gate, []).append((time, to_dark))
        level[gate], before = to_dark, time
    return [seen for group in found if (seen := _seen(group))]


def _seen(group: Mapping[int, Sequence[tuple[float, bool]]]) -> dict[int, GatePassage]:
    whole = {gate: edges for gate, edges in group.items() if edges[0][1] and not edges[-1][1]}
    return {gate: GatePassage(tuple(time for time, _ in edges)) for gate, edges in sorted(whole.items())}


def counts_of(passage: Mapping[int, GatePassage], frequency: float) -> dict[str, int]:
    """Registers of a counter of this frequency (Hz) that starts with the first edge at gate 1."""
    start = passage[1].front
    times: dict[str, float] = {"dwell": passage[1].rear}
    if 2 in passage:
        times |= {"capture": passage[2].front, "rear capture": passage[2].rear}
    if 3 in passage:
        times["third capture"] = passage[3].front
    return {name: int(np.floor((time - start) * frequency)) for name, time in times.items()}


def spread(values: Sequence[float]) -> tuple[float, float, float]:
    """Mean, least and greatest."""
    found: Array = np.array(values)
    return float(found.mean()), float(found.min()), float(found.max())
