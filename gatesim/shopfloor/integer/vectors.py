"""Test vectors of an integer program: register values and what the function must return."""

import csv
import io
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from gatesim.formula import FORMULAS, Constants, Counts
from gatesim.formula.integer.machine import run
from gatesim.shopfloor.integer.build import Integer, Stated, counts_per_metre
from gatesim.shopfloor.integer.window import Window

Registers = Mapping[str, int]


@dataclass(frozen=True)
class Vector:
    """Register values, status and length (in units of the program), and why they are tried.

    ``accept``: whether the part is accepted, None without limits to accept by. ``real`` is the
    formula in real numbers, m, NaN where it has no value.
    """

    registers: Registers
    status: int
    length: int
    accept: bool | None
    real: float
    note: str


def real_length(made: Integer, constants: Constants, registers: Registers) -> float:
    """The formula in floating point with its calibration line, m; NaN where undefined."""
    nothing = np.array([math.nan])
    names = ("dwell", "capture", "rear_capture", "third_capture")
    counts = Counts(*(np.array([float(registers[n])]) if n in registers else nothing for n in names))
    with np.errstate(all="ignore"):  # edge cases such as a capture of 0 are meant to have no length
        raw = float(FORMULAS[made.program.formula].length(counts, constants)[0])
    return constants.gain * raw + constants.zero


def vectors(
    made: Integer,
    constants: Constants,
    stated: Stated,
    known: Sequence[tuple[str, Registers]] = (),
    window: Window | None = None,
) -> tuple[Vector, ...]:
    """Edges of every register, corners, passages within the range, and the ``known`` ones."""
    tried: dict[tuple[int, ...], tuple[Registers, str]] = {}
    for note, registers in (*known, *_edges(made, constants, stated), *_passages(made, constants, stated)):
        key = tuple(registers[r.name] for r in made.program.registers)
        tried.setdefault(key, (registers, note))
    found = []
    for registers, note in tried.values():
        got = run(made.program, registers)
        real = real_length(made, constants, registers)
        accept = None if window is None else window.accepts(got.status, got.length)
        found.append(Vector(registers, got.status, got.length, accept, real, note))
    return tuple(found)


def passage(made: Integer, constants: Constants, length: float, speed: float, gain: float = 0.0) -> Registers:
    """Registers of a part at constant speed, or faster by ``gain`` on the trailing edge's way."""
    count = counts_per_metre(constants, speed)
    values = {
        "dwell": round(length * count),
        "capture": round(constants.spacing * count),
        "rear_capture": round(length * count) + round(constants.spacing * count / (1.0 + gain)),
    }
    if math.isfinite(constants.rearm):
        values["third_capture"] = round(constants.rearm * count)
    return {r.name: values[r.name] for r in made.program.registers}


def _edges(made: Integer, constants: Constants, stated: Stated) -> Iterator[tuple[str, Registers]]:
    """Each register at and beyond its limits, the others in the middle; then all corners."""
    middle = passage(made, constants, _mean(*stated.lengths), _mean(*stated.speeds))
    spans = {"dwell": made.ranges.dwell, "capture": made.ranges.capture, "third_capture": made.ranges.third}
    if "rear_capture" in middle and made.ranges.capture is not None:
        low, high = made.ranges.transit
        spans["rear_capture"] = (middle["dwell"] + low, middle["dwell"] + high)
    yield "middle of the range", middle
    for register in made.program.registers:
        low, high = spans[register.name] or (0, 0)
        cases = {
            "nothing recorded": 0,
            "one": 1,
            "one below the range": low - 1,
            "least": low,
            "greatest": high,
            "one above the range": high + 1,
            "largest of its type": register.word.high,
        }
        for note, value in cases.items():
            yield f"{register.name}: {note}", {**middle, register.name: value}
    names = [r.name for r in made.program.registers]
    for corner in product(*(spans[name] or (0, 0) for name in names)):
        yield "corner of the ranges", dict(zip(names, corner, strict=True))


def _passages(made: Integer, constants: Constants, stated: Stated) -> Iterator[tuple[str, Registers]]:
    rng = np.random.default_rng(61131)  # any fixed stream: the table must not change from run to run
    for length in (*stated.lengths, _mean(*stated.lengths)):
        for speed in (*stated.speeds, _mean(*stated.speeds)):
            yield "steady passage", passage(made, constants, length, speed)
    for _ in range(40):
        length, speed = rng.uniform(*stated.lengths), rng.uniform(*stated.speeds)
        yield "passage gaining speed", passage(made, constants, length, speed, rng.uniform(0.0, 0.3))


def _mean(low: float, high: float) -> float:
    return math.sqrt(low * high)


def vectors_csv(made: Integer, found: Sequence[Vector]) -> str:
    """The table as CSV: registers, status, length in units of the program, accept, formula in mm, note."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    names = [r.name for r in made.program.registers]
    unit = f"{made.program.unit * 1e3:g} mm"
    writer.writerow(
        [
            "number",
            *(f"{n} [1]" for n in names),
            "status",
            f"length [{unit}]",
            "accept",
            "formula [mm]",
            "note",
        ]
    )
    for number, v in enumerate(found, start=1):
        real = f"{1e3 * v.real:.6f}" if math.isfinite(v.real) else ""
        accept = "" if v.accept is None else int(v.accept)
        writer.writerow([number, *(v.registers[n] for n in names), v.status, v.length, accept, real, v.note])
    return text.getvalue()
