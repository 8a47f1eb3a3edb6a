"""A qualification as plain data for JSON. Lengths in m, shares from 0 to 1."""

from dataclasses import asdict, is_dataclass
from typing import Any

import numpy as np

from gatesim.shopfloor.qualification import Qualification
from gatesim.shopfloor.repeatability import GaugeStudy
from gatesim.study.export import Json, number


def qualification_json(result: Qualification) -> Json:
    """Every figure of the text report, unrounded; a study that could not be made is null."""
    log, gauge = result.log, result.gauge
    return {
        "log": {
            "file": log.path,
            "rows": len(log),
            "bad_rows": [asdict(row) for row in log.bad],
            "columns_not_used": list(log.ignored),
        },
        "tolerance": [result.demand.lower, result.demand.upper],
        "type_one": [{**_plain(one), "capable": one.capable} for one in result.type_one],
        "linearity": None
        if result.linearity is None
        else {**_plain(result.linearity), "zero_within_band": result.linearity.zero_within_band},
        "gauge": None
        if gauge is None
        else {
            "pooling_rule": gauge.rule,
            "with_interaction": gauge.with_interaction and _study(gauge.with_interaction),
            "without_interaction": _study(gauge.without_interaction),
            "chosen": "with_interaction" if gauge.chosen is gauge.with_interaction else "without_interaction",
        },
        "standard_uncertainty": {**_plain(result.combined), "combined": number(result.combined.std)},
        "capability_ratio": number(result.capability_ratio),
        "limits": _plain(result.limits),
        "guard_factor": result.demand.guard_factor,
        "process": None if result.process is None else list(result.process),
        "risks": None if result.risks is None else _plain(result.risks),
        "notes": list(result.notes),
    }


def _study(study: GaugeStudy) -> Json:
    return {**_plain(study), "table": [_plain(row) for row in study.table]}


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {key: _plain(getattr(value, key)) for key in value.__dataclass_fields__}
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    return number(value) if isinstance(value, float) else value
