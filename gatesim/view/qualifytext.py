"""A qualification as text for a terminal."""

import math

from tabulate import tabulate

from gatesim.shopfloor.gaugestudy import STUDY_SPREAD, GaugeStudy
from gatesim.shopfloor.qualification import Qualification
from gatesim.shopfloor.resolution import standard_uncertainty
from gatesim.view.number import percent, plain

MM = 1e3
_NAMES = {
    "repeatability": "repeatability (EV)",
    "operator": "operator",
    "interaction": "part x operator",
    "reproducibility": "reproducibility (AV)",
    "gauge": "gauge (GRR)",
    "part": "part (PV)",
    "total": "total (TV)",
}


def qualification_text(result: Qualification) -> str:
    """The conclusion, then all studies, one block each; lengths in mm."""
    log = result.log
    head = f"{log.path}: {len(log)} rows used, {len(log.bad)} kept apart"
    blocks = [head + "".join(f"\n  line {b.line}: {b.reason}" for b in log.bad)]
    if not log.dialect.usual:
        blocks[0] += f"\n  read with {log.written_with}"
    if log.ignored:
        blocks[0] += f"\n  columns not used: {', '.join(log.ignored)}"
    blocks = [*result.warnings, _conclusion_text(result), *blocks]
    blocks += [_type_one_text(result)] if result.type_one else []
    blocks += [_linearity_text(result)] if result.linearity else []
    blocks += [_gauge_text(result)] if result.gauge else []
    blocks += [_decision_text(result)]
    if result.notes:
        blocks.append("Notes\n" + "\n".join(f"  {note}" for note in result.notes))
    return "\n\n".join(blocks)


def _conclusion_text(result: Qualification) -> str:
    found = result.conclusion
    rows = [[c.found, c.rule, c.verdict.words] for c in found.checks]
    table = tabulate(rows, ["found", "asked for", "so"], disable_numparse=True, maxcolwidths=[46, 44, None])
    return f"{found.verdict.words.upper()} for {found.use}\n{table}"


def _table(rows: list[list[str]], head: list[str]) -> str:
    return str(tabulate(rows, head, disable_numparse=True, colalign=("left",) + ("right",) * (len(head) - 1)))


def _mm(value: float, digits: int = 4) -> str:
    return plain(MM * value, digits)


def _span(pair: tuple[float, float], scale: float = MM, digits: int = 3) -> str:
    return f"{plain(scale * pair[0], digits)} to {plain(scale * pair[1], digits)}"


def _type_one_text(result: Qualification) -> str:
    convention = result.demand.convention
    rows = [
        [
            _mm(one.reference, 7),
            str(one.count),
            _mm(one.bias, 3),
            _span(one.bias_interval),
            f"{one.t_statistic:.2f}" if one.std else "-",
            f"{one.p_value:.3g}" if one.std else "-",
            _mm(one.std, 3),
            f"{one.c_g:.2f}",
            f"{one.c_gk:.2f}",
            "yes" if one.capable else "no",
        ]
        for one in result.type_one
    ]
    head = ["reference / mm", "n", "bias / mm", "95 % conf.", "t", "p", "s / mm", "C_g", "C_gk", "capable"]
    return (
        f"Type-1 study ({convention.source})\n  {convention.formula}, both at least "
        f"{convention.required:g}; T = {_mm(result.demand.tolerance)} mm\n  s is {_spread(result)}\n"
        + _table(rows, head)
    )


def _spread(result: Qualification) -> str:
    """What stands for s in the indices."""
    step = result.demand.resolution
    if not step:
        return "the scatter of the readings; their resolution is not known (--resolution)"
    return (
        f"the larger of the scatter and the resolution {_mm(step, 3)} mm / sqrt 12 = "
        f"{_mm(standard_uncertainty(step), 3)} mm (ISO 22514-7)"
    )


def _linearity_text(result: Qualification) -> str:
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
        f"  bias = {_mm(line.intercept)} mm {'+' if line.slope >= 0 else '-'} {abs(line.slope):.4g} x length "
        f"(R^2 = {line.r_squared:.3f}, residual s = {_mm(line.residual_std, 3)} mm)\n{tests}"
    )


def _gauge_text(result: Qualification) -> str:
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
            lines += [_anova_text(study), ""] if study.table else []
            lines += [_components_text(study)]
    return "\n".join(lines)


def _anova_text(study: GaugeStudy) -> str:
    rows = [
        [
            _NAMES[r.source],
            str(r.freedom),
            plain(MM**2 * r.squares, 5),
            plain(MM**2 * r.mean_square, 5),
            "" if math.isnan(r.f) else f"{r.f:.3f}",
            "" if math.isnan(r.p) else f"{r.p:.3g}",
        ]
        for r in study.table
    ]
    return _table(rows, ["source", "dof", "SS / mm^2", "MS / mm^2", "F", "p"])


def _components_text(study: GaugeStudy) -> str:
    rows = [
        [
            _NAMES[name],
            _mm(c.std),
            _span(c.std_interval),
            "-" if math.isnan(c.of_total) else percent(c.of_total),
            "-" if math.isnan(c.of_total) else percent(c.of_total**2),
            f"{plain(100.0 * c.of_tolerance, 3)} %",
            _span(c.of_tolerance_interval, 100.0),
        ]
        for name, c in study.components.items()
    ]
    head = [
        "source",
        "s / mm",
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


def _decision_text(result: Qualification) -> str:
    c, limits = result.combined, result.limits
    lines = [
        "Accepting and rejecting",
        f"  standard uncertainty {_mm(c.std, 3)} mm: scatter {_mm(c.scatter, 3)}, bias {_mm(c.bias, 3)} "
        f"(|bias|/sqrt 3), operators {_mm(c.operators, 3)}, reference {_mm(c.reference, 3)} mm",
        f"  Q_MP = 4 u / T = {plain(100.0 * result.capability_ratio, 3)} % (ISO 22514-7: at most 30 %)",
        f"  tolerance {_mm(limits.lower, 7)} to {_mm(limits.upper, 7)} mm, guard band "
        f"{result.demand.guard_factor:g} u = {_mm(result.demand.guard_factor * c.std, 3)} mm (ISO 14253-1)",
    ]
    if limits.accept_lower >= limits.accept_upper:
        lines.append("  no indication proves conformity: the guard bands meet")
    else:
        lines.append(
            f"  accept readings from {_mm(limits.accept_lower, 7)} to {_mm(limits.accept_upper, 7)} mm"
        )
    if result.risks is not None and result.process is not None:
        r, (mean, spread) = result.risks, result.process
        lines += [
            f"  for parts of mean {_mm(mean, 7)} mm and standard deviation {_mm(spread)} mm (JCGM 106, 9.5):",
            f"    conforming {percent(r.conforming)}, accepted {percent(r.accepted)}",
            f"    wrongly accepted (global consumer's risk) {percent(r.consumer)}",
            f"    wrongly rejected (global producer's risk) {percent(r.producer)}",
            f"    specific consumer's risk of a reading at an acceptance limit {percent(r.at_limit)}",
        ]
    return "\n".join(lines)
