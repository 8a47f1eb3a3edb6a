"""A qualification as plain data for JSON. Lengths in m, shares from 0 to 1."""

from dataclasses import asdict

from gatesim.ground.data import Json, number
from gatesim.ground.data import data_of as flattened
from gatesim.shopfloor.conclusion import Conclusion
from gatesim.shopfloor.gaugestudy import GaugeStudy
from gatesim.shopfloor.qualification import Qualification


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
        "warnings": list(result.warnings),
        "conclusion": _conclusion(result.conclusion),
        "resolution": result.demand.resolution or None,
        "tolerance": [result.demand.lower, result.demand.upper],
        "type_one": [{**flattened(one), "capable": one.capable} for one in result.type_one],
        "linearity": None
        if result.linearity is None
        else {**flattened(result.linearity), "zero_within_band": result.linearity.zero_within_band},
        "gauge": None
        if gauge is None
        else {
            "pooling_rule": gauge.rule,
            "with_interaction": gauge.with_interaction and _study(gauge.with_interaction),
            "without_interaction": _study(gauge.without_interaction),
            "balanced": gauge.balanced,
            "parts_are_production": gauge.production,
            "chosen": "with_interaction" if gauge.chosen is gauge.with_interaction else "without_interaction",
        },
        "standard_uncertainty": {**flattened(result.combined), "combined": number(result.combined.std)},
        "capability_ratio": number(result.capability_ratio),
        "limits": flattened(result.limits),
        "guard_factor": result.demand.guard_factor,
        "process": None if result.process is None else list(result.process),
        "risks": None if result.risks is None else flattened(result.risks),
        "notes": list(result.notes),
    }


def _conclusion(found: Conclusion) -> Json:
    checks = [{"found": c.found, "rule": c.rule, "verdict": c.verdict.words} for c in found.checks]
    return {"verdict": found.verdict.words, "use": found.use, "checks": checks}


def _study(study: GaugeStudy) -> Json:
    return {**flattened(study), "table": [flattened(row) for row in study.table]}
