"""A requirement for parts of many lengths, judged by studies at some of them."""

import math
from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import ClassVar

from gatesim.ground.data import Keys
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.result import StudyResult
from gatesim.studies.rig import RigModel

LEAST_TRIALS = 2000
"""At each length."""


@dataclass(frozen=True)
class Judged:
    """One formula at the length where it is worst, m.

    ``reach``: bias and twice the standard uncertainty together, which about 95 % of the readings keep to
    where they spread like a normal distribution; NaN where nothing is read. ``met``: it is within what is
    ``allowed``.
    """

    worst_length: float
    bias: float
    uncertainty: float
    reach: float
    allowed: float
    met: bool

    KEYS: ClassVar[Keys] = {
        "worst_length": "worst_length",
        "bias": "bias",
        "uncertainty": "standard_uncertainty",
    }


def judge(
    rig: RigModel,
    found: StudyResult,
    executor: Executor | None = None,
    workers: int | None = None,
) -> Mapping[str, Judged]:
    """Every formula against the requirement of the rig; empty where it states none.

    Over a range of lengths by further studies, that share the trials of ``found``; the nominal
    length is judged by ``found`` itself.
    """
    scenario = rig.scenario
    nominal = scenario.part.length.nominal
    allowed = scenario.requirement.allowed(nominal)
    if math.isnan(allowed) or found.ended == "interrupted":
        return {}
    results = {nominal: found}
    others = {length: model for length, model in rig.at_lengths().items() if length != nominal}
    plan = shared(found.plan, found.trials, len(others))
    for length, model in others.items():
        results[length] = study(model, plan, executor, workers)
        if results[length].ended == "interrupted":
            return {}
    judged = {}
    for name in found.formulas:
        of = {length: result.formulas[name] for length, result in results.items() if name in result.formulas}
        rows = [
            Judged(length, f.bias.value, f.uncertainty.value, reach, allowed, reach <= allowed)
            for length, f in sorted(of.items())
            for reach in [abs(f.bias.value) + 2.0 * f.uncertainty.value]
        ]
        judged[name] = max(rows, key=lambda row: math.inf if math.isnan(row.reach) else row.reach)
    return judged


def shared(plan: Plan, trials: int, lengths: int) -> Plan:
    """The plan of one of so many studies that share the trials."""
    return replace(plan, trials=max(trials // max(lengths, 1), LEAST_TRIALS), until=None)
