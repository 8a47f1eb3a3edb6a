"""An uncertainty budget as text for a terminal, in units that a person would use."""

import math
from collections.abc import Sequence

from tabulate import tabulate

from gatesim.ground.level import Level
from gatesim.ground.quantity import si_factor
from gatesim.studies.budget import Budget, Covariance
from gatesim.studies.budgetrow import BudgetRow
from gatesim.studies.indices import Index, Indices
from gatesim.studies.result import FormulaResult
from gatesim.studies.validation import Validation, contradictions
from gatesim.view.lengthunit import LengthUnit, restated, unit_of
from gatesim.view.number import decimals_for, fixed, percent, plain, with_error
from gatesim.view.studytext import symmetric_ends

LEVEL_NAMES: dict[Level, str] = {
    "passage": "REPEATABILITY",
    "part": "FROM PART TO PART",
    "rig": "FROM RIG TO RIG",
}
MOST_PLACES = 8
LARGE = 1e9
"""Values from here on, or with more decimals than that, are written with a power of ten."""


def _budget_rows(table: Budget, unit: LengthUnit | None) -> list[list[str]]:
    """What is new with every passage, then with every part, then with every rig, each with its sum."""
    lines, shown = [], unit or unit_of(None)
    places = shown.decimals(table.combined, 4)

    def contribution(length: float) -> str:
        return fixed(shown.per_metre * length, places)

    for per, name in LEVEL_NAMES.items():
        rows = [[*_quantity(row, unit), contribution(row.contribution), percent(row.share)]
                for row in table.rows if row.per == per and row.matters(table.combined)]  # fmt: skip
        rows += [[*_correlated(c), contribution(_root(c.variance)), percent(c.share)]
                 for c in table.covariances if c.per == per and c.matters]  # fmt: skip
        if rows:
            u = table.of_level(per)
            share = (u / table.combined) ** 2 if table.combined else 0.0
            lines += [[name, *[""] * 6, contribution(u), percent(share)], *rows]
    return lines


def _quantity(row: BudgetRow, unit: LengthUnit | None) -> list[str]:
    """Name, value, u and unit, distribution, degrees of freedom, change of error a unit."""
    shown = unit or unit_of(None)
    if row.simulated:  # its effect itself, a length
        name, factor = shown.name, 1.0 / shown.per_metre
    else:
        name, times = restated(row.unit, unit)
        factor = (si_factor(row.unit) if row.unit else 1.0) / times
    value, u = _matching(row.value / factor, row.u / factor)
    slope = plain(shown.per_metre * row.sensitivity * factor, 3) + ("*" if row.secant else "")
    freedom = plain(row.degrees_of_freedom, 3)
    return [row.name, value, u, name or "-", row.distribution, freedom, slope]


def _matching(value: float, u: float) -> tuple[str, str]:
    """A value to the last of the two digits of its standard uncertainty (JCGM 100, 7.2.6)."""
    places = decimals_for(u)
    if places > MOST_PLACES or max(abs(value), u) >= LARGE or not u > 0.0:
        return plain(value, 6), plain(u, 2)
    return fixed(value, places), fixed(u, places)


def _root(variance: float) -> float:
    return math.copysign(math.sqrt(abs(variance)), variance)


def _correlated(c: Covariance) -> list[str]:
    return [" with ".join(c.quantities), "", "", "", f"r = {c.coefficient:.3g}", "", ""]


def _without_influence(what: str, names: Sequence[str]) -> list[str]:
    return [f"Without influence on the {what}: {', '.join(names)}."] if names else []


def _bend_text(table: Budget, unit: LengthUnit) -> str:
    """What makes the budget fail, if one quantity does."""
    row = max(table.rows, key=lambda row: abs(row.curvature))
    if row.curvature == 0.0:
        return "  no quantity bends the error; the distributions are what differs"
    return (
        f"  the error bends most with {row.name}: at one u to either side its mean is off by "
        f"{unit.plain(row.curvature, 2)} {unit.name}"
    )


def _indices_text(indices: Indices) -> list[str]:
    rows = [
        [i.name, with_error(i.first, i.first_error), with_error(i.total, i.total_error)]
        for i in indices.indices
        if i.total != 0.0
    ]
    lines = [
        "",
        "Sobol indices: share of the variance by one draw alone, and with all its interactions.",
        tabulate(rows, ["drawn", "first-order", "total"], disable_numparse=True,
                 colalign=("left", "right", "right")),
    ]  # fmt: skip
    lines += _without_influence("reading", [i.name for i in indices.indices if i.total == 0.0])
    if indices.read < 1.0:
        lines.append(f"They rest on the {percent(indices.read)} of trials that give a reading.")
    return lines


def _contradiction_text(found: Sequence[Index]) -> list[str]:
    return [
        f"  The budget does not hold: {i.name} is listed as without influence, but has a share of "
        f"{percent(i.total)} of the variance together with others (total Sobol index)."
        for i in found
    ]


def _check_text(check: Validation, unit: LengthUnit) -> str:
    digits = "1 significant digit" if check.digits == 1 else f"{check.digits} significant digits"
    low, high, tolerance = (
        unit.plain(length, 2) for length in (check.low_difference, check.high_difference, check.tolerance)
    )
    ends = f"ends differ by {low} and {high} {unit.name}, tolerance {tolerance} {unit.name}"
    if not check.conclusive:
        return f"  to {digits} of u: undecided, too few trials ({ends})"
    return f"  to {digits} of u: the budget {'holds' if check.valid else 'does not hold'} ({ends})"


def _nothing_to_validate(simulated: FormulaResult) -> str:
    why = "the error does not vary" if simulated.readings else "no trial gives a reading"
    return f"  there is nothing to validate: {why}"


def budget_text(
    table: Budget,
    simulated: FormulaResult,
    checks: Sequence[Validation],
    indices: Indices | None,
    unit: LengthUnit | None = None,
) -> str:
    """A budget with Monte Carlo, validation and Sobol indices beside it.

    Quantities are in the unit that the scenario has them in; lengths in ``unit`` if one is asked for.
    """
    shown = unit or unit_of(None)
    mm = shown.name
    head = ["quantity", "value", "std unc.", "unit", "distribution", "dof", f"{mm} per unit"]
    head += [f"contrib. / {mm}", "share"]
    idle = [row.name for row in table.rows if not row.matters(table.combined)]
    rows = tabulate(_budget_rows(table, unit), head, disable_numparse=True,
                    colalign=("left", "right", "right", "left", "left") + ("right",) * 4)  # fmt: skip
    lines = [
        f"Uncertainty budget of {table.formula} (JCGM 100): error of the reading, reading minus true length.",
        f"{mm} per unit: change of the error with a change of the quantity by one of its unit.",
        rows,
        *_without_influence("unrounded reading", idle),
        *(["r: correlated quantities add 2 r times both contributions to the variance, whose root is shown "
           "with its sign."] if table.covariances else []),
        "",
        *_sum_text(table, simulated, shown),
        "",
        "May the linear budget be trusted (JCGM 101, clause 8)?",
        *([_check_text(check, shown) for check in checks] or [_nothing_to_validate(simulated)]),
    ]  # fmt: skip
    if table.rows and not all(check.valid for check in checks):
        lines.append(_bend_text(table, shown))
    if any(row.secant for row in table.rows):
        lines.append(
            "* slope between minus and plus one standard uncertainty; the derivative does not settle"
        )
    if indices:
        lines += _contradiction_text(contradictions(table, indices))
        lines += _indices_text(indices)
    return "\n".join(lines)


def _sum_text(table: Budget, simulated: FormulaResult, unit: LengthUnit) -> list[str]:
    """Combined and expanded uncertainty, and the Monte Carlo study beside them."""
    places = unit.decimals(table.combined, 3)
    p = f"{100.0 * table.coverage:g} %"

    def said(length: float) -> str:
        return fixed(unit.per_metre * length, places)

    nu = table.effective_degrees_of_freedom
    dof = "infinite" if math.isinf(nu) else f"{nu:.1f}"
    monte_carlo = (unit.with_error(e.value, e.error) for e in (simulated.bias, simulated.uncertainty))
    beside = [
        ["linear budget", *map(said, (table.error, table.combined, *table.interval))],
        ["Monte Carlo", *monte_carlo, *symmetric_ends(simulated, unit)],
    ]
    head = [f"error / {unit.name}", "bias", "std unc.", f"{p} from", "to"]
    return [
        f"combined standard uncertainty {said(table.combined)} {unit.name}, "
        f"effective degrees of freedom {dof} (Welch-Satterthwaite)",
        f"expanded uncertainty U = {said(table.expanded)} {unit.name} (k = {table.coverage_factor:.2f}, {p})",
        "",
        f"From, to: the {p} coverage interval of the error.",
        "In brackets the Monte Carlo standard error, in units of the last digit.",
        tabulate(beside, head, disable_numparse=True, colalign=("left",) + ("right",) * 4),
    ]
