"""The commissioning sheet as content: sections of tables and lines, rendered elsewhere."""

from dataclasses import dataclass

from gatesim.formula.integer.program import STATUS
from gatesim.shopfloor.decision import Limits
from gatesim.shopfloor.handover import Handover
from gatesim.shopfloor.integer.structuredtext import statuses


@dataclass(frozen=True)
class Block:
    """One section: a heading, a table with or without a head, and lines of text."""

    heading: str
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    lines: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A page: title, what stands under it, and its sections in order."""

    title: str
    subtitle: str
    blocks: tuple[Block, ...]
    sign: tuple[str, ...] = ("Commissioned by", "Date", "Signature")


def sheet(h: Handover) -> Sheet:
    """The page for one hand-over."""
    return Sheet(
        title=f"Commissioning sheet: {h.title}",
        subtitle=f"Scenario {h.file}, {h.date}. {h.note}".strip(),
        blocks=(
            _wiring(h),
            _settings(h),
            _expected(h),
            _acceptance(h),
            _status(h),
            Block("Cautions", lines=h.cautions),
        ),
    )


def _wiring(h: Handover) -> Block:
    return Block(
        "Wiring: roles of the gates",
        ("gate", "position", "role", "edges used"),
        tuple((f"{w.gate}", f"{1e3 * w.position:.6g} mm", w.role, w.edges) for w in h.wiring),
    )


def _settings(h: Handover) -> Block:
    program = h.made.program
    unit = f"{1e3 * program.unit:g} mm"
    spare = min(step.bits_spare for step in h.made.proof.steps)
    rows = [
        *h.settings,
        ("function", f"{program.name} (Structured Text), result in {unit}"),
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


def _expected(h: Handover) -> Block:
    names = [r.name for r in h.made.program.registers]
    rows = []
    for e in h.expected:
        cells = [f"{1e3 * e.length:.6g}\u00a0mm"]
        for name in names:
            low, high = e.bands[name]
            cells.append(f"{e.registers[name]} ({low} to {high})")
        reading = f"{1e3 * e.reading:.4f}\u00a0mm" if e.status == 0 else f"none, status {e.status}"
        rows.append((*cells, reading))
    return Block(
        "Expected counts for reference parts (nominal, and 95 % of simulated passages)",
        ("reference part", *names, "reading"),
        tuple(rows),
    )


def _acceptance(h: Handover) -> Block:
    heading = "Acceptance limits"
    if h.limits is None:
        return Block(
            heading, lines=("The scenario states no tolerance limits, so there is nothing to accept by.",)
        )
    limits: Limits = h.limits
    guard = f"{1e3 * h.guard:.3g} mm ({h.guard_text})"
    if limits.accept_lower >= limits.accept_upper:
        verdict = "none: the guard bands meet, no reading proves conformity"
    else:
        verdict = f"{1e3 * limits.accept_lower:.4f} to {1e3 * limits.accept_upper:.4f} mm"
    rows = (
        ("tolerance", f"{1e3 * limits.lower:.6g} to {1e3 * limits.upper:.6g} mm"),
        ("guard band at either end (ISO 14253-1)", guard),
        ("accept readings", verdict),
    )
    return Block(heading, rows=rows)


def _status(h: Handover) -> Block:
    rows = ((str(code), STATUS[code].meaning, STATUS[code].action) for code in statuses(h.made.program))
    return Block("Status, and what to do", ("status", "meaning", "what to do"), tuple(rows))
