"""A qualification as text for a terminal."""

import math

from tabulate import tabulate

from gatesim.shopfloor.gaugestudy import STUDY_SPREAD, GaugeStudy
from gatesim.shopfloor.qualification import Qualification
from gatesim.shopfloor.resolution import standard_uncertainty
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.number import fixed, percent, plain

_NAMES = {
    "repeatability": "repeatability (EV)",
    "operator": "operator",
    "interaction": "part x operator",
    "reproducibility": "reproducibility (AV)",
    "gauge": "gauge (GRR)",
    "part": "part (PV)",
    "total": "total (TV)",
}


def qualification_text(result: Qualification, unit: LengthUnit = MM) -> str:
    """The conclusion, then all studies, one block each."""
    log = result.log
    head = f"{log.path}: {len(log)} rows used, {len(log.bad)} kept apart"
    blocks = [head + "".join(f"\n  line {b.line}: {b.reason}" for b in log.bad)]
    if not log.dialect.usual:
        blocks[0] += f"\n  read with {log.written_with}"
    if log.ignored:
        blocks[0] += f"\n  columns not used: {', '.join(log.ignored)}"
    blocks = [*map(unit.said, result.warnings), _conclusion_text(result, unit), *blocks]
    blocks += [_type_one_text(result, unit)] if result.type_one else []
    blocks += [_linearity_text(result, unit)] if result.linearity else []
    blocks += [_gauge_text(result, unit)] if result.gauge else []
    blocks += [_decision_text(result, unit)]
    if result.notes:
        blocks.append("Notes\n" + "\n".join(f"  {unit.said(note)}" for note in result.notes))
    return "\n\n".join(blocks)


def _conclusion_text(result: Qualification, unit: LengthUnit) -> str:
    found = result.conclusion
    rows = [[unit.said(c.found), unit.said(c.rule), c.verdict.words] for c in found.checks]
    table = tabulate(rows, ["found", "asked for", "so"], disable_numparse=True, maxcolwidths=[46, 44, None])
    return f"{found.verdict.words.upper()} for {unit.said(found.use)}\n{table}"


def _table(rows: list[list[str]], head: list[str]) -> str:
    return str(tabulate(rows, head, disable_numparse=True, colalign=("left",) + ("right",) * (len(head) - 1)))


def _span(pair: tuple[float, float], scale: float, digits: int = 3) -> str:
    return f"{plain(scale * pair[0], digits)} to {plain(scale * pair[1], digits)}"


def _type_one_text(result: Qualification, unit: LengthUnit) -> str:
    convention = result.demand.convention
    rows = [
        [
            unit.plain(one.reference, 7),
            str(one.count),
            unit.plain(one.bias, 3),
            _span(one.bias_interval, unit.per_metre),
            f"{one.t_statistic:.2f}" if one.std else "-",
            f"{one.p_value:.3g}" if one.std else "-",
            unit.plain(one.std, 3),
            f"{one.c_g:.2f}",
            f"{one.c_gk:.2f}",
            "yes" if one.capable else "no",
        ]
        for one in result.type_one
    ]
    head = [
        f"reference / {unit.name}",
        "n",
        f"bias / {unit.name}",
        "95 % conf.",
        "t",
        "p",
        f"s / {unit.name}",
        "C_g",
        "C_gk",
        "capable",
    ]
    return (
        f"Type-1 study ({convention.source})\n  {convention.formula}, both at least "
        f"{convention.required:g}; T = {unit.stated(result.demand.tolerance)}\n"
        f"  s is {_spread(result, unit)}\n" + _table(rows, head)
    )


def _spread(result: Qualification, unit: LengthUnit) -> str:
    """What stands for s in the indices."""
    step = result.demand.resolution
    if not step:
        return "the scatter of the readings; their resolution is not known (--resolution)"
    return (
        f"the larger of the scatter and the resolution {unit.stated(step, 3)} / sqrt 12 = "
        f"{unit.stated(standard_uncertainty(step), 3)} (ISO 22514-7)"
    )


def _linearity_text(result: Qualification, unit: LengthUnit) -> str:
    line = result.linearity
    assert line is not None
    fit = "not tested" if math.isnan(line.p_lack_of_fit) else f"p = {line.p_lack_of_fit:.3g}"
    verdict = "lies inside" if line.zero_within_band else "leaves"
    tests = (
        f"  slope t = {line.t_slope:.2f}, p = {line.p_slope:.3g}; "
        f"intercept t = {line.t_intercept:.2f}, p = {line.p_intercept:.3g}; lack of fit {fit}\n"
        f"  the line of zero bias {verdict} the 95 % confidence band"
        if line.tested
        else "  not tested: the readings do not scatter, only their resolution is seen"
    )
    return (
        "Linearity: bias over reference length, least squares\n"
        f"  bias = {unit.stated(line.intercept)} {'+' if line.slope >= 0 else '-'} {abs(line.slope):.4g} x "
        f"length (R^2 = {line.r_squared:.3f}, residual s = {unit.stated(line.residual_std, 3)})\n{tests}"
    )


def _gauge_text(result: Qualification, unit: LengthUnit) -> str:
    both = result.gauge
    assert both is not None
    how = "analysis of variance" if both.balanced else "mixed model by restricted maximum likelihood"
    lines = [f"Repeatability and reproducibility, {how}; {both.rule}"]
    for study, name in ((both.with_interaction, "with"), (both.without_interaction, "without")):
        if study is not None:
            mark = " (taken)" if study is both.chosen else ""
            title = f"{name} interaction{mark}" if both.with_interaction else "parts only"
            trials = f"{study.trials} trials" if both.balanced else f"up to {study.trials} trials"
            size = f"{study.parts} parts, {study.operators} operators, {trials}, {study.readings} readings"
            lines += ["", f"{title}: {size}"]
            lines += [_anova_text(study, unit), ""] if study.table else []
            lines += [_components_text(study, unit)]
    return "\n".join(lines)


def _anova_text(study: GaugeStudy, unit: LengthUnit) -> str:
    rows = [
        [
            _NAMES[r.source],
            str(r.freedom),
            plain(unit.per_metre**2 * r.squares, 5),
            plain(unit.per_metre**2 * r.mean_square, 5),
            "" if math.isnan(r.f) else f"{r.f:.3f}",
            "" if math.isnan(r.p) else f"{r.p:.3g}",
        ]
        for r in study.table
    ]
    return _table(rows, ["source", "dof", f"SS / {unit.name}^2", f"MS / {unit.name}^2", "F", "p"])


def _components_text(study: GaugeStudy, unit: LengthUnit) -> str:
    rows = [
        [
            _NAMES[name],
            unit.plain(c.std),
            _span(c.std_interval, unit.per_metre),
            "-" if math.isnan(c.of_total) else percent(c.of_total),
            "-" if math.isnan(c.of_total) else percent(c.of_total**2),
            f"{plain(100.0 * c.of_tolerance, 3)} %",
            _span(c.of_tolerance_interval, 100.0),
        ]
        for name, c in study.components.items()
    ]
    head = [
        "source",
        f"s / {unit.name}",
        "95 % conf.",
        "of TV",
        "of variance",
        f"{STUDY_SPREAD:g} s of T",
        "95 % conf. / %",
    ]
    lines = [_table(rows, head)]
    if math.isfinite(study.categories):
        told = f"distinct categories {math.floor(study.categories)} ({plain(study.categories, 3)}"
        if math.isfinite(study.categories_interval[0]):
            told += (
                f", 95 % conf. {_span(study.categories_interval, 1.0)}); "
                f"GRR of TV 95 % conf. {_span(study.gauge_share_interval, 100.0)} %"
            )
        else:
            told += ")"
        lines.append(told)
    lines.append(
        "intervals: modified large sample (Burdick and Graybill 1992); "
        "of GRR of TV and categories: generalised (Hamada and Weerahandi 2000)"
        if study.table
        else "intervals: chi-square with degrees of freedom after Satterthwaite (1946)"
    )
    return "\n".join(lines)


def _inward(limit: float, std: float, unit: LengthUnit, *, up: bool) -> str:
    """An acceptance limit to the second digit of u, rounded to the side where less is accepted."""
    places = unit.decimals(std)
    last = (math.ceil if up else math.floor)(round(unit.per_metre * limit * 10**places, 6))
    return fixed(last / 10**places, places)


def _decision_text(result: Qualification, unit: LengthUnit) -> str:
    c, limits = result.combined, result.limits
    lines = [
        "Accepting and rejecting",
        f"  standard uncertainty {unit.stated(c.std, 3)}: scatter {unit.plain(c.scatter, 3)}, "
        f"bias {unit.plain(c.bias, 3)} "
        f"(|bias|/sqrt 3), operators {unit.plain(c.operators, 3)}, reference {unit.stated(c.reference, 3)}",
        f"  Q_MP = 4 u / T = {plain(100.0 * result.capability_ratio, 3)} % (ISO 22514-7: at most 30 %)",
        f"  tolerance {unit.plain(limits.lower, 7)} to {unit.stated(limits.upper, 7)}, guard band "
        f"{result.demand.guard_factor:g} u = {unit.stated(result.demand.guard_factor * c.std, 3)} "
        "(ISO 14253-1)",
    ]
    if limits.accept_lower >= limits.accept_upper:
        lines.append("  no indication proves conformity: the guard bands meet")
    else:
        lines.append(
            f"  accept readings from {_inward(limits.accept_lower, c.std, unit, up=True)} "
            f"to {_inward(limits.accept_upper, c.std, unit, up=False)} {unit.name}"
        )
    if result.risks is not None and result.process is not None:
        r, (mean, spread) = result.risks, result.process
        lines += [
            f"  for parts of mean {unit.stated(mean, 7)} and standard deviation {unit.stated(spread)} (JCGM "
            "106, 9.5):",
            f"    conforming {percent(r.conforming)}, accepted {percent(r.accepted)}",
            f"    wrongly accepted (global consumer's risk) {percent(r.consumer)}",
            f"    wrongly rejected (global producer's risk) {percent(r.producer)}",
            f"    specific consumer's risk of a reading at an acceptance limit {percent(r.at_limit)}",
        ]
    return "\n".join(lines)
