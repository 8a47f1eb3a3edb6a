"""Results as plain data: mappings for JSON, rows for CSV. Lengths in m, shares from 0 to 1."""

import csv
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, is_dataclass
from typing import Any, TextIO

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.nested import Layout
from gatesim.studies.budget import Budget
from gatesim.studies.indices import Indices
from gatesim.studies.model import WORDS, Trials
from gatesim.studies.plan import Plan
from gatesim.studies.result import Estimate, FormulaResult, StudyResult
from gatesim.studies.sweep import SweepResult
from gatesim.studies.validation import Validation

Json = dict[str, Any]

EACH_ITS_OWN = Layout()
"""Every trial another part on another rig."""


def number(value: float) -> float | str | None:
    """A float that JSON can hold: NaN becomes null, infinity a word."""
    if math.isnan(value):
        return None
    return value if math.isfinite(value) else "infinite"


def flattened(value: Any) -> Any:
    """Dataclasses, arrays and tuples as the mappings, lists and numbers that JSON can hold."""
    if is_dataclass(value) and not isinstance(value, type):
        return {key: flattened(getattr(value, key)) for key in value.__dataclass_fields__}
    if isinstance(value, dict):
        return {key: flattened(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [flattened(item) for item in value]
    if isinstance(value, np.ndarray | np.generic):
        return flattened(value.tolist())
    return number(value) if isinstance(value, float) else value


def _estimate(e: Estimate) -> Json:
    return {"value": number(e.value), "monte_carlo_error": number(e.error)}


def _plan(plan: Plan) -> Json:
    return {
        "seed": plan.seed,
        "coverage": plan.coverage,
        "until": plan.until.text if plan.until else None,
        "sampling": "scrambled Sobol" if plan.quasi else "pseudo-random",
        "calibration": asdict(plan.calibration),
    }


def _formula(f: FormulaResult) -> Json:
    return {
        "readings": f.readings,
        "bias": _estimate(f.bias),
        "standard_uncertainty": _estimate(f.uncertainty),
        "repeatability": _estimate(f.repeatability),
        "part_to_part": _estimate(f.part_to_part),
        "rig_to_rig": _estimate(f.rig_to_rig),
        "after_calibration": _estimate(f.calibrated),
        "bias_after_calibration": _estimate(f.calibrated_bias),
        "symmetric_interval": [_estimate(f.low), _estimate(f.high)],
        "shortest_interval": [_estimate(f.shortest_low), _estimate(f.shortest_high)],
        "extremes": [number(f.minimum), number(f.maximum)],
        "interval_resolution": number(f.resolution),
        "yield": asdict(f.good),
    }


def study_json(result: StudyResult) -> Json:
    """A study; the curves are left out."""
    return {
        "trials": result.trials,
        "ended": result.ended,
        **_plan(result.plan),
        "true_length": number(result.true_length),
        "error": {name: _formula(f) for name, f in result.formulas.items()},
        "outcomes": {word: asdict(s) for word, s in result.outcomes.items()},
    }


def sweep_json(result: SweepResult) -> Json:
    """A sweep: nested lists in the order of the axes."""

    def lists(table: Mapping[str, Array]) -> Json:
        return {column: np.where(np.isnan(v), np.array(None), v).tolist() for column, v in table.items()}

    return {
        "interrupted": result.interrupted,
        "trials_per_point": result.plan.trials,
        **_plan(result.plan),
        "axes": [{"path": a.path, "unit": a.unit, "values": a.values.tolist()} for a in result.axes],
        "error": {name: lists(table) for name, table in result.formulas.items()},
        "most_frequent_outcome": np.where(result.outcome == "", np.array(None), result.outcome).tolist(),
    }


def budget_json(
    table: Budget, simulated: FormulaResult, checks: Sequence[Validation], indices: Indices | None
) -> Json:
    """A budget with what stands beside it."""
    rows = [
        {
            "quantity": row.name,
            "value": number(row.value),
            "standard_uncertainty": number(row.u),
            "distribution": row.distribution,
            "degrees_of_freedom": number(row.degrees_of_freedom),
            "sensitivity": number(row.sensitivity),
            "contribution": number(row.contribution),
            "share_of_variance": number(row.share(table.combined)),
            "curvature": number(row.curvature),
            "secant": row.secant,
        }
        for row in table.rows
    ]
    found: Json = {
        "formula": table.formula,
        "error_at_nominal": number(table.error),
        "rows": rows,
        "combined_standard_uncertainty": number(table.combined),
        "effective_degrees_of_freedom": number(table.effective_degrees_of_freedom),
        "coverage": table.coverage,
        "coverage_factor": number(table.coverage_factor),
        "expanded_uncertainty": number(table.expanded),
        "interval": [number(end) for end in table.interval],
        "monte_carlo": _formula(simulated),
        "validation": [{**asdict(check), "valid": check.valid} for check in checks],
    }
    if indices is not None:
        found["sobol_indices"] = [asdict(index) for index in indices.indices]
        found["share_of_trials_read"] = indices.read
    return found


def trials_writer(file: TextIO, layout: Layout = EACH_ITS_OWN) -> Callable[[Trials], None]:
    """A sink for `gatesim.studies.engine.study` that writes one CSV row a trial.

    Columns: trial, true_length and one reading per formula in m (empty where there is none),
    outcome; number of the rig, and of the part on it.
    """
    writer = csv.writer(file, lineterminator="\n")
    count = 0

    def write(trials: Trials) -> None:
        nonlocal count
        if count == 0:
            names = [f"reading {name} / m" for name in trials.readings]
            writer.writerow(["trial", "true length / m", *names, "outcome", "rig", "part"])
        lengths = np.full(trials.outcome.shape, trials.true_length).tolist()
        columns = [np.where(np.isnan(r), "", r.astype(str)).tolist() for r in trials.readings.values()]
        words = [WORDS[code] for code in trials.outcome.tolist()]
        numbers = np.arange(count, count + len(words))
        rig, within = np.divmod(numbers, layout.each)
        part = within // layout.passages
        columns += [words, (rig + 1).tolist(), (part + 1).tolist()]
        writer.writerows(zip((numbers + 1).tolist(), lengths, *columns, strict=True))
        count += len(words)

    return write
