"""A study as text for a terminal."""

import math
from collections.abc import Mapping, Sequence
from textwrap import fill

from tabulate import tabulate

from gatesim.studies.required import Judged
from gatesim.studies.result import Estimate, FormulaResult, StudyResult
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.number import at_places, common_places, percent

WIDTH = 100
COARSE = 0.05
"""Readings on a lattice of counts may show no Monte Carlo error: then this share of u stands for it."""


def _headline(result: StudyResult) -> str:
    plan = result.plan
    how = "scrambled Sobol points" if plan.quasi else "pseudo-random"
    target = f", target {plan.until.text}" if plan.until else ""
    return f"{result.trials:,} trials, seed {plan.seed}, {how}{target}: {result.ended}"


def study_text(
    result: StudyResult,
    requirement: Mapping[str, Judged] | None = None,
    remarks: Sequence[str] = (),
    unit: LengthUnit = MM,
) -> str:
    """A study: error figures per formula, remarks on the formulas, then outcomes."""
    p = f"{100.0 * result.plan.coverage:g} %"
    length = f"{unit.fixed(result.true_length, 3)} {unit.name}"
    if result.true_length_varies:
        length = f"which varies, mean {length}"
    outcomes = [
        [word, f"{s.count:,}", percent(s.share), percent(s.low), percent(s.high)]
        for word, s in sorted(result.outcomes.items(), key=lambda item: -item[1].count)
    ]
    return "\n".join(
        [
            _headline(result),
            "",
            f"Error of the reading / {unit.name}: reading minus true length ({length}).",
            f"From, to: the {p} coverage interval of the error, probabilistically symmetric and shortest.",
            "Yield: trials that the formula reads while nothing went wrong, readings count in any case.",
            "In brackets the Monte Carlo standard error, in units of the last digit.",
            _figures_text(result, p, unit),
            "",
            *_levels_text(result, unit),
            "",
            *_requirement_text(requirement or {}, unit),
            *(fill(unit.said(remark), WIDTH) for remark in remarks),
            *([""] if remarks else []),
            tabulate(
                outcomes,
                ["outcome", "trials", "share", "95 % conf. from", "to"],
                disable_numparse=True,
                colalign=("left",) + ("right",) * 4,
            ),
        ]
    )


def _figures_text(result: StudyResult, p: str, unit: LengthUnit) -> str:
    """One row a formula; a column has one number of decimals."""
    found = result.formulas
    lengths = zip(
        column([f.bias for f in found.values()], unit, found),
        column([f.uncertainty for f in found.values()], unit, found),
        *(_ends_column(found, end, unit) for end in ("low", "high", "shortest_low", "shortest_high")),
        strict=True,
    )
    rows = [
        [name, f"{f.readings:,}", *cells, percent(f.good.share)]
        for (name, f), cells in zip(found.items(), lengths, strict=True)
    ]
    head = ["formula", "readings", "bias", "std unc.", f"{p} from", "to", "shortest from", "to", "yield"]
    return str(tabulate(rows, head, disable_numparse=True, colalign=("left",) + ("right",) * 8))


def column(
    estimates: Sequence[Estimate],
    unit: LengthUnit,
    found: Mapping[str, FormulaResult],
    places: int | None = None,
) -> list[str]:
    """A column of estimates in m, one of each formula, with their Monte Carlo errors in brackets."""
    if places is None:
        likely = [
            e.error if e.error > 0.0 else COARSE * f.uncertainty.value
            for e, f in zip(estimates, found.values(), strict=True)
        ]
        places = common_places(unit.per_metre * error for error in likely)
    return [at_places(unit.per_metre * e.value, unit.per_metre * e.error, places) for e in estimates]


def _ends_column(found: Mapping[str, FormulaResult], end: str, unit: LengthUnit) -> list[str]:
    """An end of the intervals; those of the shortest have the decimals of the symmetric one.

    Few trials leave the Monte Carlo error of the shortest unknown.
    """
    symmetric = [getattr(f, end.removeprefix("shortest_")) for f in found.values()]
    likely = [
        e.error if e.error > 0.0 else COARSE * f.uncertainty.value
        for e, f in zip(symmetric, found.values(), strict=True)
    ]
    places = common_places(unit.per_metre * error for error in likely)
    return column([getattr(f, end) for f in found.values()], unit, found, places)


def symmetric_ends(found: FormulaResult, unit: LengthUnit = MM) -> list[str]:
    """Both ends of the symmetric interval of one formula."""
    return [_ends_column({"": found}, end, unit)[0] for end in ("low", "high")]


def _requirement_text(requirement: Mapping[str, Judged], unit: LengthUnit) -> list[str]:
    """Each formula at the length where it is worst, and whether that is enough."""
    if not requirement:
        return []
    least = min((j.uncertainty for j in requirement.values() if j.uncertainty > 0.0), default=math.nan)
    places = min(unit.decimals(least, 2), unit.places(4))
    rows = [
        [name, "yes" if j.met else "no", unit.plain(j.worst_length, 6)]
        + [at_places(unit.per_metre * value, 0.0, places) for value in (j.bias, j.uncertainty, j.reach)]
        for name, j in requirement.items()
    ]
    allowed = next(iter(requirement.values())).allowed
    return [
        f"The requirement allows an error of {unit.plain(allowed)} {unit.name}; at the worst length, all / "
        f"{unit.name}:",
        tabulate(rows, ["formula", "met", "length", "bias", "std unc.", "|bias| + 2 u"],
                 disable_numparse=True, colalign=("left", "left") + ("right",) * 4),
        "",
    ]  # fmt: skip


def _levels_text(result: StudyResult, unit: LengthUnit) -> list[str]:
    """What is new with every passage, part and rig, and what a calibration of each rig leaves."""
    how, found = result.plan.calibration, result.formulas
    head = ["formula", "repeatability", "part to part", "rig to rig", "total", "bias left", "std unc. left"]
    names = ("repeatability", "part_to_part", "rig_to_rig", "uncertainty", "calibrated_bias", "calibrated")
    columns = [column([getattr(f, name) for f in found.values()], unit, found) for name in names]
    rows = [[name, *cells] for name, *cells in zip(found, *columns, strict=True)]
    return [
        f"Standard deviations of the error / {unit.name}: repeatability (same part, same rig; JCGM 200, ISO "
        "5725-1),",
        "from part to part on one rig, from rig to rig; and what is left of bias and standard uncertainty",
        f"where every rig is calibrated with a line, reference parts x passages of each: {how.text}.",
        tabulate(rows, head, disable_numparse=True, colalign=("left",) + ("right",) * 6),
    ]
