"""Tables and bars of the report, as texts and shares of a width."""

from typing import Any

from gatesim.explanation.breakdown import Breakdown
from gatesim.explanation.change import Effort
from gatesim.explanation.remedy import Remedies, Remedy
from gatesim.formula import FORMULAS
from gatesim.ground.quantity import registry
from gatesim.prediction.predict import Prediction
from gatesim.scenario.model import Scenario
from gatesim.studies.budget import Budget
from gatesim.studies.result import FormulaResult, StudyResult
from gatesim.view.explaintext import remedy_cells
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.number import percent, plain, with_error

MINUS = "−"
LEAST_SHARE = 1e-4


def signed(length: float, unit: LengthUnit, places: int = 3) -> str:
    """A length in m with its sign, and so many decimals in mm."""
    return unit.signed(length, places).replace("-", MINUS)


def _share(share: float) -> str:
    return f"under {percent(LEAST_SHARE)}" if share < LEAST_SHARE else percent(share)


LEAST = 1e-6
"""Least width of the bars' picture in m: what is nothing to the digits shown is not drawn large."""


def readings_table(told: Prediction, formula: str, unit: LengthUnit = MM) -> list[dict[str, Any]]:
    """A row for every formula, the one in question marked."""
    return [
        {
            "formula": reading.formula,
            "chosen": reading.formula == formula,
            "reading": "none" if reading.length_m is None else unit.fixed(reading.length_m, 3),
            "error": "" if reading.error_m is None else signed(reading.error_m, unit),
            "needs": f"none: {unit.said(reading.reason)}" if reading.reason else reading.needs,
            "equation": FORMULAS[reading.formula].equation,
        }
        for reading in told.readings
    ]


def waterfall_bars(found: Breakdown, unit: LengthUnit = MM) -> list[dict[str, Any]]:
    """Bars that start where the one before ends, the largest first, the sum last; in % of the width."""
    shares = sorted(found.shares, key=lambda s: -abs(s.error))
    ends = [0.0]
    for share in shares:
        ends.append(ends[-1] + share.error)
    low, high = min(ends), max(ends)
    room = max(0.03 * (high - low), 0.5 * (LEAST - (high - low)))
    low, width = low - room, high - low + 2.0 * room

    def bar(name: str, start: float, error: float, chance: str, total: bool) -> dict[str, Any]:
        left = min(start, start + error)
        return {
            "name": name,
            "error": signed(error, unit, 4),
            "left": f"{100.0 * (left - low) / width:.3f}",
            "width": f"{100.0 * abs(error) / width:.3f}",
            "zero": f"{-100.0 * low / width:.3f}",
            "kind": "total" if total else "short" if error < 0.0 else "long",
            "chance": chance,
        }

    bars = []
    for share, start in zip(shares, ends, strict=False):
        by_chance = share.low == share.low and share.high > share.low
        chance = (
            f"by chance {signed(share.low, unit, 4)} to {signed(share.high, unit, 4)}" if by_chance else ""
        )
        bars.append(bar(share.name, start, share.error, chance, total=False))
    bars.append(bar("sum: reading less true length", 0.0, found.error, "", total=True))
    return bars


def remedy_row(tried: Remedies, remedy: Remedy, unit: LengthUnit = MM) -> dict[str, Any]:
    """One change and what it comes to."""
    error, spread, reach = (text.replace("-", MINUS) for text in remedy_cells(remedy, unit))
    return {
        "title": unit.said(remedy.proposal.title),
        "how": unit.said(remedy.proposal.how),
        "error": error,
        "spread": spread,
        "reach": reach,
        "enough": remedy.enough,
        "better": remedy.reach < tried.now.reach,
        "cheapest": remedy is tried.cheapest,
    }


def remedy_groups(tried: Remedies, unit: LengthUnit = MM) -> list[dict[str, Any]]:
    """What was tried, by what it takes; those that help first."""
    groups: list[dict[str, Any]] = []
    for effort in Effort:
        rows = [remedy_row(tried, remedy, unit) for remedy in tried.tried if remedy.effort == effort]
        if rows:
            groups.append({"takes": effort.words, "rows": rows})
    return groups


def cheapest_card(tried: Remedies, unit: LengthUnit = MM) -> dict[str, Any] | None:
    """The cheapest change that is good enough, with the error before and after."""
    if tried.cheapest is None or tried.now.enough:
        return None
    return {
        **remedy_row(tried, tried.cheapest, unit),
        "takes": tried.cheapest.effort.words,
        "before": signed(tried.now.error, unit),
    }


def inputs_table(scenario: Scenario) -> list[tuple[str, str, str]]:
    """Every quantity of the scenario: path, text, spread."""
    rows = []
    for path, quantity in scenario.quantities().items():
        word = "" if quantity.spread is None else type(quantity.spread).__name__.lower()
        unit = f" {quantity.unit}" if quantity.unit else ""
        spread = f"{word}, standard uncertainty {_in_unit(quantity.std, quantity.unit)}{unit}" if word else ""
        rows.append((path, quantity.text, spread))
    return rows


def _in_unit(std: float, unit: str) -> str:
    """A standard uncertainty in the unit in which its value is written."""
    one = registry().Quantity(1.0, unit.replace("%", "percent") or "dimensionless").to_root_units()
    return plain(std / float(one.magnitude), 3)


def study_figures(result: StudyResult, found: FormulaResult, unit: LengthUnit = MM) -> dict[str, Any]:
    """Bias, standard uncertainty, coverage interval and outcomes of a study."""
    left_bias, left = found.calibrated_bias, found.calibrated
    return {
        "trials": f"{result.trials:,}",
        "seed": result.plan.seed,
        "coverage": f"{100.0 * result.plan.coverage:g} %",
        "bias": with_error(found.bias.value, found.bias.error, unit.per_metre).replace("-", MINUS),
        "uncertainty": with_error(found.uncertainty.value, found.uncertainty.error, unit.per_metre),
        "low": with_error(found.low.value, found.low.error, unit.per_metre).replace("-", MINUS),
        "high": with_error(found.high.value, found.high.error, unit.per_metre).replace("-", MINUS),
        "levels": level_bar(found, unit),
        "calibration": result.plan.calibration,
        "left_bias": with_error(left_bias.value, left_bias.error, unit.per_metre).replace("-", MINUS),
        "left": with_error(left.value, left.error, unit.per_metre),
        "outcomes": [
            (word, f"{s.count:,}", percent(s.share))
            for word, s in sorted(result.outcomes.items(), key=lambda item: -item[1].count)
        ],
    }


def level_bar(found: FormulaResult, unit: LengthUnit = MM) -> list[dict[str, str]]:
    """Repeatability, part to part and rig to rig as stretches of one bar, by their shares of the variance."""
    levels = (
        ("passage", "repeatability", found.repeatability),
        ("part", "part to part", found.part_to_part),
        ("rig", "rig to rig", found.rig_to_rig),
    )
    total = sum(e.value**2 for _, _, e in levels)
    if not total > 0.0:
        return []
    return [
        {
            "kind": kind,
            "name": name,
            "std": with_error(e.value, e.error, unit.per_metre, 0.05 * found.uncertainty.value),
            "share": percent(e.value**2 / total),
            "width": f"{100.0 * e.value**2 / total:.3f}",
        }
        for kind, name, e in levels
    ]


def budget_table(table: Budget, unit: LengthUnit = MM) -> dict[str, Any]:
    """Rows of the budget with their shares of the combined variance as bars."""
    rows = [
        {
            "name": row.name,
            "u": plain(row.u, 3),
            "contribution": unit.plain(abs(row.contribution), 3),
            "share": _share(row.share),
            "width": f"{100.0 * row.share:.2f}",
        }
        for row in table.rows
        if row.matters(table.combined)
    ]
    return {
        "rows": rows,
        "combined": unit.plain(table.combined, 3),
        "expanded": unit.plain(table.expanded, 3),
        "k": plain(table.coverage_factor, 3),
        "coverage": f"{100.0 * table.coverage:g} %",
    }
