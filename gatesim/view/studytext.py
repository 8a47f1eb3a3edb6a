"""Studies, sweeps and budgets as text for a terminal."""

import math
from collections.abc import Mapping, Sequence
from itertools import product
from textwrap import fill

import numpy as np
from tabulate import tabulate

from gatesim.ground.arrays import Array
from gatesim.ground.level import Level
from gatesim.ground.outcome import Outcome
from gatesim.studies.budget import Budget, BudgetRow, Covariance
from gatesim.studies.indices import Index, Indices
from gatesim.studies.required import Judged
from gatesim.studies.result import FormulaResult, StudyResult
from gatesim.studies.sweep import SweepResult
from gatesim.studies.validation import Validation, contradictions
from gatesim.view.number import decimals_for, percent, plain, with_error

MM = 1e3
WIDTH = 100


def _headline(result: StudyResult) -> str:
    plan = result.plan
    how = "scrambled Sobol points" if plan.quasi else "pseudo-random"
    target = f", target {plan.until.text}" if plan.until else ""
    return f"{result.trials:,} trials, seed {plan.seed}, {how}{target}: {result.ended}"


def study_text(
    result: StudyResult, requirement: Mapping[str, Judged] | None = None, remarks: Sequence[str] = ()
) -> str:
    """A study: error figures per formula, remarks on the formulas, then outcomes."""
    p = f"{100.0 * result.plan.coverage:g} %"
    if result.true_length_varies:
        length = f"which varies, mean {MM * result.true_length:.4f} mm"
    else:
        length = f"{MM * result.true_length:.4f} mm"
    figures = [
        [
            name,
            f"{f.readings:,}",
            with_error(f.bias.value, f.bias.error, MM),
            with_error(f.uncertainty.value, f.uncertainty.error, MM),
            *_ends(f),
            percent(f.good.share),
        ]
        for name, f in result.formulas.items()
    ]
    head = ["formula", "readings", "bias", "std unc.", f"{p} from", "to", "shortest from", "to", "yield"]
    outcomes = [
        [word, f"{s.count:,}", percent(s.share), percent(s.low), percent(s.high)]
        for word, s in sorted(result.outcomes.items(), key=lambda item: -item[1].count)
    ]
    return "\n".join(
        [
            _headline(result),
            "",
            f"Error of the reading in mm: reading minus true length ({length}).",
            f"From, to: the {p} coverage interval of the error, probabilistically symmetric and shortest.",
            "Yield: trials that the formula reads while nothing went wrong, readings count in any case.",
            "In brackets the Monte Carlo standard error, in units of the last digit.",
            tabulate(figures, head, disable_numparse=True, colalign=("left",) + ("right",) * 8),
            "",
            *_levels_text(result),
            "",
            *_requirement_text(requirement or {}),
            *(fill(remark, WIDTH) for remark in remarks),
            *([""] if remarks else []),
            tabulate(
                outcomes,
                ["outcome", "trials", "share", "95 % conf. from", "to"],
                disable_numparse=True,
                colalign=("left",) + ("right",) * 4,
            ),
        ]
    )


def _requirement_text(requirement: Mapping[str, Judged]) -> list[str]:
    """Each formula at the length where it is worst, and whether that is enough."""
    if not requirement:
        return []
    rows = [
        [name, "yes" if j.met else "no", plain(MM * j.worst_length, 6),
         *(plain(MM * value, 4) for value in (j.bias, j.uncertainty, j.reach))]
        for name, j in requirement.items()
    ]  # fmt: skip
    allowed = next(iter(requirement.values())).allowed
    return [
        f"The requirement allows an error of {plain(MM * allowed, 4)} mm; in mm, at the worst length:",
        tabulate(rows, ["formula", "met", "length", "bias", "std unc.", "95 % within"], disable_numparse=True,
                 colalign=("left", "left") + ("right",) * 4),
        "",
    ]  # fmt: skip


def _levels_text(result: StudyResult) -> list[str]:
    """What is new with every passage, part and rig, and what a calibration of each rig leaves."""
    how = result.plan.calibration
    head = ["formula", "repeatability", "part to part", "rig to rig", "total", "bias left", "std unc. left"]
    rows = [
        [name]
        + [
            with_error(e.value, e.error, MM, 0.05 * f.uncertainty.value)
            for e in (f.repeatability, f.part_to_part, f.rig_to_rig, f.uncertainty)
        ]
        + [with_error(e.value, e.error, MM) for e in (f.calibrated_bias, f.calibrated)]
        for name, f in result.formulas.items()
    ]
    return [
        "Standard deviations of the error in mm: repeatability (same part, same rig; JCGM 200, ISO 5725-1),",
        "from part to part on one rig, from rig to rig; and what is left of bias and standard uncertainty",
        f"where every rig is calibrated with a line, reference parts x passages of each: {how.text}.",
        tabulate(rows, head, disable_numparse=True, colalign=("left",) + ("right",) * 6),
    ]


def _ends(f: FormulaResult) -> list[str]:
    """Ends of the symmetric and of the shortest interval in mm.

    Few trials leave the Monte Carlo error of the shortest unknown, and readings on a lattice of
    counts may show none: then the digits are those of the symmetric end, or a twentieth of u.
    """
    ends, coarse = [], 0.05 * f.uncertainty.value
    for symmetric, shortest in ((f.low, f.shortest_low), (f.high, f.shortest_high)):
        like = symmetric.error if symmetric.error > 0.0 else coarse
        ends.append((with_error(symmetric.value, symmetric.error, MM, coarse),
                     with_error(shortest.value, shortest.error, MM, like)))  # fmt: skip
    (low, shortest_low), (high, shortest_high) = ends
    return [low, high, shortest_low, shortest_high]


LEVEL_NAMES: dict[Level, str] = {
    "passage": "REPEATABILITY",
    "part": "FROM PART TO PART",
    "rig": "FROM RIG TO RIG",
}


def _budget_rows(table: Budget) -> list[list[str]]:
    """What is new with every passage, then with every part, then with every rig, each with its sum."""
    lines = []
    for per, name in LEVEL_NAMES.items():
        rows = [_budget_row(row) for row in table.rows
                if row.per == per and row.matters(table.combined)]  # fmt: skip
        rows += [_covariance_row(c) for c in table.covariances if c.per == per and c.matters]
        if rows:
            u = table.of_level(per)
            share = (u / table.combined) ** 2 if table.combined else 0.0
            lines += [[name, "", "", "", "", "", plain(MM * u, 3), percent(share)], *rows]
    return lines


def _budget_row(row: BudgetRow) -> list[str]:
    return [
        row.name,
        plain(row.value, 6),
        plain(row.u, 3),
        row.distribution,
        plain(row.degrees_of_freedom, 3),
        plain(row.sensitivity, 4) + ("*" if row.secant else ""),
        plain(MM * row.contribution, 3),
        percent(row.share),
    ]


def _covariance_row(c: Covariance) -> list[str]:
    size = math.copysign(math.sqrt(abs(c.variance)), c.variance)
    names = " with ".join(c.quantities)
    return [
        names,
        "",
        "",
        f"r = {c.coefficient:.3g}",
        "",
        "",
        plain(MM * size, 3),
        percent(c.share),
    ]


def _without_influence(what: str, names: Sequence[str]) -> list[str]:
    return [f"Without influence on the {what}: {', '.join(names)}."] if names else []


def _bend_text(table: Budget) -> str:
    """What makes the budget fail, if one quantity does."""
    row = max(table.rows, key=lambda row: abs(row.curvature))
    if row.curvature == 0.0:
        return "  no quantity bends the error; the distributions are what differs"
    return (
        f"  the error bends most with {row.name}: at one u to either side its mean is off by "
        f"{plain(MM * row.curvature, 2)} mm"
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


def _check_text(check: Validation) -> str:
    digits = "1 significant digit" if check.digits == 1 else f"{check.digits} significant digits"
    ends = (
        f"ends differ by {MM * check.low_difference:.2g} and {MM * check.high_difference:.2g} mm, "
        f"tolerance {MM * check.tolerance:.2g} mm"
    )
    if not check.conclusive:
        return f"  to {digits} of u: undecided, too few trials ({ends})"
    return f"  to {digits} of u: the budget {'holds' if check.valid else 'does not hold'} ({ends})"


def _nothing_to_validate(simulated: FormulaResult) -> str:
    why = "the error does not vary" if simulated.readings else "no trial gives a reading"
    return f"  there is nothing to validate: {why}"


def budget_text(
    table: Budget, simulated: FormulaResult, checks: Sequence[Validation], indices: Indices | None
) -> str:
    """A budget with Monte Carlo, validation and Sobol indices beside it."""
    head = ["quantity", "value", "std unc.", "distribution", "dof", "sensitivity", "contrib. / mm", "share"]
    places = decimals_for(MM * table.combined, 3)
    p = f"{100.0 * table.coverage:g} %"
    low, high = table.interval
    nu = table.effective_degrees_of_freedom
    dof = "infinite" if math.isinf(nu) else f"{nu:.1f}"
    beside = [
        ["linear budget", f"{MM * table.error:.{places}f}", f"{MM * table.combined:.{places}f}",
         f"{MM * low:.{places}f}", f"{MM * high:.{places}f}"],
        ["Monte Carlo", *(with_error(e.value, e.error, MM) for e in (simulated.bias, simulated.uncertainty)),
         *_ends(simulated)[:2]],
    ]  # fmt: skip
    idle = [row.name for row in table.rows if not row.matters(table.combined)]
    lines = [
        f"Uncertainty budget of {table.formula} (JCGM 100): error of the reading, reading minus true length.",
        "Values, uncertainties and sensitivities in SI units; sensitivity = change of error per unit.",
        tabulate(_budget_rows(table), head, disable_numparse=True, colalign=("left",) + ("right",) * 7),
        *_without_influence("unrounded reading", idle),
        *(["r: correlated quantities add 2 r times both contributions to the variance, whose root is shown "
           "with its sign."] if table.covariances else []),
        "",
        f"combined standard uncertainty {MM * table.combined:.{places}f} mm, "
        f"effective degrees of freedom {dof} (Welch-Satterthwaite)",
        f"expanded uncertainty U = {MM * table.expanded:.{places}f} mm "
        f"(k = {table.coverage_factor:.2f}, {p})",
        "",
        f"From, to: the {p} coverage interval of the error.",
        tabulate(beside, ["in mm", "bias", "std unc.", f"{p} from", "to"], disable_numparse=True,
                 colalign=("left",) + ("right",) * 4),
        "",
        "May the linear budget be trusted (JCGM 101, clause 8)?",
        *([_check_text(check) for check in checks] or [_nothing_to_validate(simulated)]),
    ]  # fmt: skip
    if table.rows and not all(check.valid for check in checks):
        lines.append(_bend_text(table))
    if any(row.secant for row in table.rows):
        lines.append(
            "* slope between minus and plus one standard uncertainty; the derivative does not settle"
        )
    if indices:
        lines += _contradiction_text(contradictions(table, indices))
        lines += _indices_text(indices)
    return "\n".join(lines)


def sweep_text(result: SweepResult, formula: str, show: str) -> str:
    """One row a point: the axes, then the figure shown and its band."""
    table = result.formulas.get(formula, {})
    head = [f"{a.path} / {a.unit}" if a.unit else a.path for a in result.axes]
    head += {
        "bias": ["bias / mm", f"{100.0 * result.plan.coverage:g} % from", "to"],
        "uncertainty": ["std unc. / mm"],
        "yield": ["yield", "95 % conf. from", "to"],
    }[show]
    rows = []
    for cell in _cells(result):
        at = [plain(float(a.values[i]), 6) for a, i in zip(result.axes, cell, strict=True)]
        rows.append(at + _shown(table, str(result.outcome[cell]), cell, show))
    title = f"{show.capitalize()} of {formula}, "
    title += f"{result.plan.trials:,} trials a point, seed {result.plan.seed}"
    if result.interrupted:
        title += ": interrupted, - marks points not reached"
    lengths = table.get("worst_length", np.full(1, np.nan))
    if np.isfinite(lengths).any():
        head.append("worst length / mm")
        for row, cell in zip(rows, _cells(result), strict=True):
            row += [""] * (len(head) - 1 - len(row)) + [plain(MM * float(lengths[cell]), 6)]
    return "\n".join([title, tabulate(rows, head, disable_numparse=True, stralign="right")])


def no_reading(outcome: str) -> str:
    """Why a point of a sweep has no reading, from its most frequent outcome."""
    whys = {Outcome.MEASURED.word: "by this formula", Outcome.NO_READING.word: "by the formula"}
    return f"no reading{f' {whys[outcome]}' if outcome in whys else f': {outcome}'}"


def _cells(result: SweepResult) -> list[tuple[int, ...]]:
    return list(product(*(range(a.values.size) for a in result.axes)))


def _shown(table: Mapping[str, Array], outcome: str, cell: tuple[int, ...], show: str) -> list[str]:
    if not (table and outcome):
        return ["-"]
    if show == "yield":
        return [percent(float(table[column][cell])) for column in ("yield", "yield_low", "yield_high")]
    if math.isnan(table["bias"][cell]):
        return [f"- {no_reading(outcome)}"]
    value, error = float(table[show][cell]), float(table[f"{show}_error"][cell])
    text = [with_error(value, error, MM)]
    if show == "bias":
        known = error > 0.0
        places = decimals_for(MM * (error if known else 0.05 * float(table["uncertainty"][cell])))
        text += [f"{MM * float(table[end][cell]):.{places}f}" for end in ("low", "high")]
    return text
