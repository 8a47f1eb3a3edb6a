"""The commissioning sheet as content: sections of tables and lines, rendered elsewhere."""

import math
from dataclasses import dataclass
from pathlib import Path

from gatesim.formula.integer.program import STATUS
from gatesim.ground.text import between
from gatesim.shopfloor.handover import Expected, Handover
from gatesim.shopfloor.integer.structuredtext import statuses


@dataclass(frozen=True)
class Block:
    """One section: a heading, a table with or without a head, and lines of text.

    Columns whose head is in ``by_hand`` are left empty, to be written in on paper.
    """

    heading: str
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    lines: tuple[str, ...] = ()
    by_hand: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A page: title, what stands under it, and its sections in order."""

    title: str
    subtitle: str
    blocks: tuple[Block, ...]
    sign: tuple[str, ...] = ("Commissioned by", "Date", "Signature")


def sheet(h: Handover) -> Sheet:
    """The page for one hand-over."""
    blocks = (
        _wiring(h),
        _settings(h),
        _constants(h),
        Block("When the program calls the function", lines=(h.call.when, h.call.before)),
        _expected(h),
        _acceptance(h),
        _status(h),
        Block("Cautions", lines=h.cautions),
    )
    return Sheet(
        title=f"Commissioning sheet: {h.title}",
        subtitle=f"Scenario {Path(h.file).name}, {h.date}. {h.note}".strip(),
        blocks=tuple(block for block in blocks if block.rows or block.lines),
    )


def _mm(value: float, digits: str = ".6g") -> str:
    return f"{1e3 * value:{digits}}\u00a0mm"


def _wiring(h: Handover) -> Block:
    gates = [(f"gate {w.gate}", _mm(w.position), w.role, w.edges) for w in h.wiring]
    return Block(
        "Along the path: distances of the leading end from its release",
        ("what", "distance", "role", "edges used"),
        (*gates, *((what, place, "acts on the part on its way", "none") for what, place in h.devices)),
    )


def _settings(h: Handover) -> Block:
    program = h.made.program
    spare = min(step.bits_spare for step in h.made.proof.steps)
    rows = [
        *h.settings,
        ("function", f"{program.name} (Structured Text), result in {1e3 * program.unit:g} mm"),
        ("formula", program.equation),
        (
            "range",
            f"lengths {_span(h.stated.lengths, 1e3, 'mm')}, speeds {_span(h.stated.speeds, 1.0, 'm/s')}",
        ),
        (
            "arithmetic",
            f"{program.word.name}; no intermediate can overflow, at least {spare} bits to spare; "
            f"error added at most {1e3 * h.made.error:.2g} mm (measured {1e3 * h.measured_error:.2g} mm)",
        ),
    ]
    return Block("Settings", rows=tuple(rows))


def _span(pair: tuple[float, float], scale: float, unit: str) -> str:
    return f"{scale * pair[0]:.4g} to {scale * pair[1]:.4g} {unit}"


def _constants(h: Handover) -> Block:
    """What the controller calculates with, whatever stands on the rig: the formula's constants, its line."""
    held = h.constants
    words = {
        "spacing": f"gate 1 to gate 2, s: {_mm(held.spacing)}",
        "rearm": f"gate 1 to gate 3, s_3: {_mm(held.rearm)}",
        "tick": f"one count: {1e6 * held.tick:.6g} µs",
        "pitch": f"travel of one count, p: {_mm(held.pitch)}",
        "acceleration": f"acceleration, a: {held.acceleration:.6g} m/s²",
        "release_distance": f"release to gate 1, x_A: {_mm(held.release_distance)}",
    }
    rows = [tuple(words[key].split(": ")) for key in h.used]
    line = "none"
    if (held.gain, held.zero) != (1.0, 0.0):
        line = (
            f"reading times {held.gain:.9g} {'plus' if held.zero >= 0.0 else 'minus'} {_mm(abs(held.zero))}"
        )
    return Block("Constants in the controller", rows=(*rows, ("calibration line", line)))


def _expected(h: Handover) -> Block:
    return Block(
        "Reference parts: what to expect, and what was found",
        ("part", "register", "nominal", "95 % of passages", "found", "signed"),
        tuple(row for e in h.expected for row in _part(e)),
        by_hand=("found", "signed"),
    )


def _part(e: Expected) -> list[tuple[str, ...]]:
    part = _mm(e.length)
    rows = [
        (part, name, f"{count}", f"{e.bands[name][0]} to {e.bands[name][1]}", "", "")
        for name, count in e.registers.items()
    ]
    reading = _mm(e.reading, ".4f") if e.status == 0 else f"none, status {e.status}"
    return [*rows, (part, "reading", reading, between(*e.reading_band, ".3f"), "", "")]


def _acceptance(h: Handover) -> Block:
    heading, limits = "Acceptance limits", h.limits
    if limits is None:
        return Block(
            heading, lines=("The scenario states no tolerance limits, so there is nothing to accept by.",)
        )
    both = math.isfinite(limits.lower) and math.isfinite(limits.upper)
    low, high = _ends(h)
    verdict = between(low, high, f".{max(0, -math.floor(math.log10(1e3 * h.made.program.unit)))}f")
    if low > high:
        verdict = "none: the guard bands meet, no reading proves conformity"
    rows = (
        ("tolerance", between(limits.lower, limits.upper)),
        (
            f"guard band {'at either end ' if both else ''}(ISO 14253-1)",
            f"{1e3 * h.guard:.3g} mm ({h.guard_text})",
        ),
        ("accept readings", f"{verdict}; the function's output Accept says so"),
    )
    return Block(heading, rows=rows)


def _ends(h: Handover) -> tuple[float, float]:
    """Least and greatest reading that the function accepts, m."""
    unit, held = h.made.program.unit, h.window
    if held is None:
        return -math.inf, math.inf
    return (
        -math.inf if held.low is None else held.low * unit,
        math.inf if held.high is None else held.high * unit,
    )


def _status(h: Handover) -> Block:
    rows = ((str(code), STATUS[code].meaning, STATUS[code].action) for code in statuses(h.made.program))
    return Block("Status, and what to do", ("status", "meaning", "what to do"), tuple(rows))
