"""Outlines and beams whose own dimensions spread: the outline is integrated at d and d plus and minus h.

Switching points are expanded to second order between the three, dimension by dimension. That holds
while the beam sees the same edges at all of them; where it does not, the spread is refused.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from gatesim.ground.arrays import Scalar
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Table
from gatesim.part import Part
from gatesim.scenario.model import OF_THE_OUTLINE, Scenario
from gatesim.sensor import Beam, Variant, runs


def variants(scenario: Scenario, values: Mapping[str, Scalar], gate: int) -> tuple[Variant, ...]:
    """Dimensions of outline and beam that differ from trial to trial, as gate 1, 2 or 3 sees them.

    Raises InputError where the beam sees another number of edges within the spread.
    """
    found = []
    for name, value in values.items():
        path, _, own = name.partition("@")
        if not path.startswith(OF_THE_OUTLINE) or own not in ("", str(gate)) or not np.ndim(value):
            continue
        nominal, step = _dimension(scenario, path, gate)
        off = np.asarray(value) - nominal
        if step > 0.0 and off.any():
            low, high = (_outlines(scenario, path, gate, nominal + by) for by in (-step, step))
            found.append(Variant(off, step, low, high))
    return tuple(found)


def _table(scenario: Scenario, path: str, gate: int) -> tuple[Table, str]:
    section, _, inner = path.partition(".")
    return (scenario.part if section == "part" else scenario.sensor.of(gate)), inner


@lru_cache(maxsize=256)
def _dimension(scenario: Scenario, path: str, gate: int) -> tuple[float, float]:
    """Nominal value and the step h, one standard deviation of its spread."""
    at: Any
    at, inner = _table(scenario, path, gate)
    for key in inner.split("."):
        at = at[int(key) - 1] if isinstance(at, tuple) else getattr(at, key)
    return at.nominal, at.std


@lru_cache(maxsize=256)
def _outlines(scenario: Scenario, path: str, gate: int, value: float) -> tuple[Part, Beam]:
    """Outline and beam with one dimension at another value."""
    table, inner = _table(scenario, path, gate)
    moved: Any = _with(table, inner, value)
    usual = scenario.part.outline(), scenario.sensor.of(gate).beam.build()
    made = (moved.outline(), usual[1]) if path.startswith("part.") else (usual[0], moved.beam.build())
    length = scenario.part.length.nominal
    edges, usually = (
        [run.rising for run in runs(part.silhouette(length), beam)] for part, beam in (made, usual)
    )
    if edges != usually:
        at = f"{1e3 * value:.4g} mm"
        raise InputError(
            f"{scenario.file}: {path}: given a spread within which, at {at}, gate {gate} sees "
            f"{len(edges)} edges instead of {len(usually)}, expected a narrower one or a plain value"
        )
    return made


def _with(at: Any, path: str, value: float) -> Any:
    """A table, list or quantity with the nominal value at a path replaced."""
    if isinstance(at, Quantity):
        return replace(at, nominal=value)
    key, _, rest = path.partition(".")
    if isinstance(at, tuple):
        index = int(key) - 1
        return (*at[:index], _with(at[index], rest, value), *at[index + 1 :])
    return at.model_copy(update={key: _with(getattr(at, key), rest, value)})
