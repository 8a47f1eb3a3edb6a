"""A fit as text for a terminal."""

import math

from tabulate import tabulate

from gatesim.shopfloor.fit.adequacy import LEVEL, TESTS, Test
from gatesim.shopfloor.fit.correction import best, correction_of
from gatesim.shopfloor.fit.outliers import OUTLIER_RATE
from gatesim.shopfloor.fit.parameter import Parameter
from gatesim.shopfloor.fit.result import Correction, Fit
from gatesim.shopfloor.fit.verdict import verdict
from gatesim.view.lengthunit import LengthUnit, restated, unit_of
from gatesim.view.number import plain, with_error

SHOWN = 5  # further measurements


def fit_text(
    result: Fit, formula: str | None = None, *, constants: bool = True, unit: LengthUnit | None = None
) -> str:
    """What the fit is worth, estimates, what cannot be told apart, the tests, corrections if they are due.

    Quantities are in the unit that the scenario has them in; lengths in ``unit`` if one is asked for.
    """
    shown = unit or unit_of(None)
    blocks = [shown.said("\n".join(verdict(result))), _head(result), _estimates(result, unit)]
    blocks += [_separability(result, unit), _adequacy(result, unit)]
    if constants:
        blocks += [_corrections(result, shown), *_charge(result, formula, shown)]
    if result.notes:
        blocks.append(shown.said("\n".join(result.notes)))
    return "\n\n".join(blocks)


def _table(rows: list[list[str]], head: list[str]) -> str:
    return str(tabulate(rows, head, disable_numparse=True, colalign=("left",) + ("right",) * (len(head) - 1)))


def _head(result: Fit) -> str:
    log = result.rows.log
    lines = [
        f"{log.path}: {int(result.cells.count.sum())} rows fitted, {result.held_out} held out "
        f"(seed {result.options.seed}), {len(result.apart)} set apart"
    ]
    lines += [f"  line {bad.line}: {bad.reason}" for bad in result.apart]
    rate = (
        "by the scatter of the rows themselves, which is more than the model's: no rate is promised"
        if result.odd.own
        else f"of logs without outliers about {100 * OUTLIER_RATE:.0f} % have such a row"
    )
    lines.append(f"  a row is set apart where its squared distance exceeds {result.odd.limit:.1f}: {rate}")
    if not log.dialect.usual:
        lines.append(f"  read with {log.written_with}")
    if log.ignored:
        lines.append(f"  columns not used: {', '.join(log.ignored)}")
    return "\n".join(lines)


def _scale(parameter: Parameter, unit: LengthUnit | None) -> tuple[float, str]:
    """How many of the unit that it is shown in make one in SI, and that unit."""
    name, times = restated(parameter.unit, unit)
    return times / parameter.factor, name


def _in_unit(parameter: Parameter, value: float, std: float, unit: LengthUnit | None) -> str:
    if math.isinf(std):
        return "not determined"
    scale, name = _scale(parameter, unit)
    return f"{with_error(value, std, scale)} {name}".strip()


def _estimates(result: Fit, unit: LengthUnit | None) -> str:
    rows = []
    for p, value, std in zip(result.forward.parameters, result.estimate, result.std, strict=True):
        scale, name = _scale(p, unit)
        known = "unknown" if p.unknown or p.trend else f"u = {plain(scale * p.prior, 2)} {name}".strip()
        start = "steady" if p.trend else f"{plain(scale * p.nominal, 6)} {name}".strip()
        rows.append([p.name, start, known, _in_unit(p, float(value), float(std), unit)])
    text = _table(rows, ["quantity", "scenario", "known before", "fitted"])
    if result.forward.varies:
        text += f"\nfrom passage to passage vary: {', '.join(result.forward.varies)}"
    return text + "\nIn brackets the standard uncertainty, in units of the last digit."


def _separability(result: Fit, unit: LengthUnit | None) -> str:
    found = result.separability
    shares = " and ".join(f"{name} ({share:+.2f})" for name, share in found.weakest.items())
    values = ", ".join(plain(float(v), 3) for v in found.values)
    lines = [f"Singular values (1 / relative standard uncertainty): {values}"]
    if not found.complete:
        lines.append(f"This log cannot separate {shares}: rank {found.rank} of {len(found.names)}.")
    elif found.poor:
        lines.append(f"Poorly known, to a third of its size or worse: {shares}.")
    lines += [f"{a} and {b} are hard to tell apart: correlation {r:+.3f}." for a, b, r in found.close]
    return "\n".join(lines + _further(result, unit))


def _further(result: Fit, unit: LengthUnit | None) -> list[str]:
    """Further measurements that would tell more, best first."""
    complete = result.separability.complete
    useful = [e for e in result.extras if (e.gain > 1.01 if complete else e.smallest > 1.0)]
    if not useful:
        return [f"None of {len(result.extras)} further measurements tried would tell more."]
    scales = {p.name: _scale(p, unit) for p in result.forward.parameters}
    shown = unit or unit_of(None)
    rows = []
    for extra in useful[:SHOWN]:
        std = [f"{plain(scales[n][0] * u, 2)} {scales[n][1]}".strip() for n, u in extra.std.items()]
        gain = plain(extra.gain, 3) if complete else "from none"
        rows.append([shown.said(extra.what), plain(extra.smallest, 3), gain, *std])
    head = ["measurement", "value", "factor", *(f"u({name})" for name in result.separability.names)]
    return ["What would raise the smallest singular value:", _table(rows, head)]


def _line(test: Test | None, means: str) -> list[str]:
    if test is None:
        return []
    first, second = test.freedom
    freedom = f"{first:.0f}" if not second else f"{first:.0f} and {second:.0f}"
    verdict = "significant" if test.significant else "not significant"
    return [
        f"  {test.name}: {test.statistic:.2f} with {freedom} degrees of freedom, p = {test.p:.2g} "
        f"({verdict}); {means}"
    ]


def _adequacy(result: Fit, unit: LengthUnit | None) -> str:
    found = result.adequacy
    lines = [
        f"Tests; a log that the model describes is found fault with by one of them in {100 * LEVEL:.0f} % "
        f"of all cases (p below {LEVEL / TESTS:.2g} each):"
    ]
    lines += _line(found.misfit, "model against means, by the stated scatter (chi-square)")
    lines += _line(found.lack_of_fit, "the same by the scatter of repeated rows (F)")
    lines += _line(
        found.scatter, f"repeated rows scatter {found.scatter_ratio:.2f} times as much as stated (chi-square)"
    )
    lines += _line(found.drift, "trend of the counts in time (chi-square)")
    if found.drifted:
        parameters = {p.name: p for p in result.forward.parameters}
        rows = [
            [d.name, _in_unit(parameters[d.name], d.slope, d.std, unit), f"{d.p:.2g}", f"{d.rest:.2g}"]
            for d in found.drifts[:SHOWN]
        ]
        head = ["the trend as a change of", f"per {found.drift_per}", "p", "p of what it leaves"]
        lines.append(_table(rows, head))
    return "\n".join(lines)


def _corrections(result: Fit, unit: LengthUnit) -> str:
    if not result.corrections:
        return "No formula can be corrected: the log lacks registers, or no rig can have these estimates."
    head = [
        "formula",
        f"s {unit.name}",
        f"s_3 {unit.name}",
        "a m/s²",
        f"x_A {unit.name}",
        "gain",
        f"zero {unit.name}",
        f"bias {unit.name}",
        f"u {unit.name}",
        f"before {unit.name}",
    ]
    rows = [_correction(c, unit) for c in result.corrections]
    lines = ["Constants for the controller; bias and standard uncertainty of a reading on held-out rows:"]
    lines.append(_table(rows, head))
    spans = [c.references for c in result.corrections if math.isfinite(c.references[0])]
    if spans:
        low, high = spans[0]
        which = "gain and zero rest" if low < high else "the zero rests (the gain needs a second length)"
        lines.append(f"{which} on references from {unit.fixed(low, 3)} to {unit.fixed(high, 3)} {unit.name}")
        lines += _beyond(result, unit)
    else:
        lines.append("gain and zero are left alone and nothing is judged: the log has no reference rows")
    return "\n".join(lines)


def _charge(result: Fit, formula: str | None, unit: LengthUnit) -> list[str]:
    """Which formula the written scenario puts in charge, and why."""
    chosen, found = correction_of(result, formula), best(result)
    if chosen is None or found is None:
        return []
    if formula is not None:
        said = f"In charge: {formula}, as asked."
        better = chosen is not found and found.after is not None
        return [f"{said} The least error on held-out rows has {found.formula}." if better else said]
    if chosen.after is None:
        return [f"In charge: {chosen.formula} as before, since no held-out rows tell which reads best."]
    return [
        f"In charge: {chosen.formula}, which reads the held-out rows with the least error "
        f"(u = {unit.plain(chosen.after.uncertainty, 2)} {unit.name}). --formula puts another one in charge."
    ]


def _beyond(result: Fit, unit: LengthUnit) -> list[str]:
    """Where the promise ends, and by what factor it fails there."""
    judged = [c for c in result.corrections if c.after is not None and c.beyond]
    if not judged:
        return []
    lengths = sorted({length for c in judged for length, _ in c.beyond})
    rows = []
    for c in judged:
        assert c.after is not None
        factor = {length: u / c.after.uncertainty for length, u in c.beyond}
        rows.append([c.formula, *(plain(factor[x], 2) if x in factor else "-" for x in lengths)])
    promise = "WARNING: u does not hold for other lengths. There it is so many times as large:"
    head = ["length", *(f"{unit.plain(x)} {unit.name}" for x in lengths)]
    return [
        promise,
        _table(rows, head),
    ]


def _correction(c: Correction, unit: LengthUnit) -> list[str]:
    k, scale = c.constants, unit.per_metre
    used = {
        "spacing": k.spacing * scale,
        "rearm": k.rearm * scale,
        "a": k.acceleration,
        "x": k.release_distance * scale,
    }
    after = ["-", "-"] if c.after is None else [with_error(c.after.bias, c.after.bias_std, scale)]
    if c.after is not None:
        after.append(unit.plain(c.after.uncertainty, 2))
    before = "-" if c.before is None else with_error(c.before.bias, c.before.bias_std, scale)
    return [
        c.formula,
        *(plain(value, 7) for value in used.values()),
        with_error(k.gain, c.line_std[0]) if math.isfinite(c.line_std[0]) else plain(k.gain, 7),
        with_error(k.zero, c.line_std[1], scale) if math.isfinite(c.line_std[1]) else unit.plain(k.zero, 6),
        *after,
        before,
    ]
