"""Numbers that the report's moving figures are drawn from, as plain values."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from gatesim.chain.pipeline import Measured
from gatesim.chain.timetable import timetable
from gatesim.explanation.area import SpeedCurve, curve_positions, speed_curve
from gatesim.ground.arrays import Array
from gatesim.prediction.trace import Cover, GateTrace, Trace, covered_at, covers_of
from gatesim.scenario.model import Scenario
from gatesim.studies.result import FormulaResult, StudyResult
from gatesim.view.histogram import bin_edges
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.riggeometry import RigGeometry

FIGURES = 7
"""Significant digits of what is only drawn; counts and readings are exact."""


def motion_drawn(passed: Measured) -> tuple[tuple[Cover, ...], SpeedCurve]:
    """When the first trial's part covers each beam, and its speed: all that is drawn, from one motion."""
    at, along = covered_at(passed), curve_positions(passed)
    found = timetable(passed.rig, np.concatenate([*(positions for positions, _ in at), along]))
    beams, curve = found.split(len(found.time) - len(along))
    return covers_of(at, beams.time), speed_curve(passed, curve)


def passage_data(traced: Trace, curve: SpeedCurve, rig: RigGeometry) -> dict[str, Any]:
    """Positions and counts at the moments `Trace.time`, and the curves; SI, None for unknown."""
    time = traced.time
    return {
        "time": time.tolist(),
        "count": traced.count.tolist(),
        "counts": traced.counts,
        "parts": [
            {"released": part.released, "position": _short(part.position)} for part in traced.positions
        ],
        "end": traced.end,
        "start": _first_shown(time, curve),
        "gates": [_gate(gate, traced.end) for gate in traced.gates],
        "moments": [
            {"name": m.name, "time": m.time, "count": m.count, "cycle": m.cycle} for m in traced.moments
        ],
        "speed": {
            "time": _short(curve.time),
            "speed": _short(curve.speed),
            "position": _short(curve.position),
        },
        "area": {
            key: _known(getattr(curve, key))
            for key in ("enters", "second", "leaves", "length", "spacing", "early", "rectangle")
        },
        "rig": asdict(rig),
    }


def histogram_data(
    scenario: Scenario, result: StudyResult, found: FormulaResult, unit: LengthUnit = MM
) -> dict[str, Any] | None:
    """Density of the errors, their mean and interval, the tolerance as errors, in the unit; None if empty."""
    if not found.readings:
        return None
    edges, scale = bin_edges(found), unit.per_metre
    density = found.curve.counts(edges) / found.readings / (np.diff(edges) * scale)
    limits = [scenario.requirement.lower_limit, scenario.requirement.upper_limit]
    shown = (
        [] if result.true_length_varies else [scale * (q.nominal - result.true_length) for q in limits if q]
    )
    return {
        "edges": _short(scale * edges),
        "density": _short(density),
        "low": scale * found.low.value,
        "high": scale * found.high.value,
        "bias": scale * found.bias.value,
        "limits": shown,
    }


def _gate(gate: GateTrace, end: float) -> dict[str, Any]:
    return {
        "position": gate.position,
        "time": _short(gate.time),
        "blocked": _short(gate.blocked),
        "filtered": [float(t) for t in gate.filtered if t <= end],
    }


def _first_shown(times: Array, curve: SpeedCurve) -> int:
    """Index of the moment that a printed report shows: the middle of the dwell, or the middle of all."""
    middle = 0.5 * (curve.enters + curve.leaves)
    return len(times) // 2 if np.isnan(middle) else int(np.searchsorted(times, middle))


def _known(value: float) -> float | None:
    return None if not np.isfinite(value) else float(value)


def _short(values: Array | Sequence[float | None]) -> list[float | None]:
    return [None if v is None or v != v else float(f"{v:.{FIGURES}g}") for v in values]
