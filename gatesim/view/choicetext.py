"""The search for a rig as text for a terminal."""

import math
import textwrap
from collections.abc import Sequence

from tabulate import tabulate

from gatesim.studies.choice.choose import FINALISTS, ChoiceResult, Entry
from gatesim.studies.choice.figures import Check, checks_of
from gatesim.studies.choice.race import CONFIDENCE
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.number import percent, plain


def choice_text(result: ChoiceResult, *, every_rejection: bool = False, unit: LengthUnit = MM) -> str:
    """What was tried, what was rejected and why, the best of the rest, and the winner."""
    lines = [
        result.choice.sections.title or result.choice.file,
        *_field(result),
        "",
        *_rejections(result.rejected, unit, every=every_rejection),
    ]
    if not result.finalists:
        return "\n".join([*lines, "No candidate is left."])
    return "\n".join([*lines, *_finalists(result, unit), "", *_winner(result, unit)])


def _field(result: ChoiceResult) -> list[str]:
    """How many candidates there were, and how each was treated."""
    tried, rejected, dropped = len(result.entries), len(result.rejected), len(result.dropped)
    full = tried - rejected - dropped
    lines = [
        f"{tried:,} candidates: {rejected:,} rejected by physics, {full:,} simulated with "
        f"{result.round_.trials:,} trials each over common random numbers, seed {result.round_.seed}",
    ]
    if dropped:
        lines += [
            f"{dropped:,} left before that, in a preliminary round with fewer trials: each beaten by one not",
            f"dearer. With {percent(CONFIDENCE)} confidence none of these was the better one (Bonferroni).",
        ]
    return lines


def _rejections(rejected: Sequence[Entry], unit: LengthUnit, *, every: bool) -> list[str]:
    if not rejected:
        return []
    if every:
        rows = [[entry.candidate.name, unit.said(entry.evaluation.refusal)] for entry in rejected]
        return [tabulate(rows, ["rejected", "because"], maxcolwidths=[44, 62]), ""]
    kinds: dict[str, list[Entry]] = {}
    for entry in rejected:
        kinds.setdefault(entry.evaluation.refusal.split(":")[0], []).append(entry)
    rows = [
        [kind, str(len(found)), f"{found[0].candidate.name}: {unit.said(_rest(found[0].evaluation.refusal))}"]
        for kind, found in sorted(kinds.items(), key=lambda item: -len(item[1]))
    ]
    table = tabulate(rows, ["rejected for", "rigs", "the first of them"], maxcolwidths=[None, None, 72],
                     colalign=("left", "right", "left"), disable_numparse=True)  # fmt: skip
    return [table, ""]


def _rest(refusal: str) -> str:
    return refusal.split(": ", 1)[-1]


def _finalists(result: ChoiceResult, unit: LengthUnit) -> list[str]:
    rows = []
    shown = [
        i for i in range(len(result.finalists)) if i < FINALISTS or i in result.front
    ]  # the rest was only there to be compared
    for index in shown:
        entry, comparison = result.finalists[index], result.against[index]
        figures = entry.evaluation.figures
        if figures is None:
            continue
        worst = figures.worst
        failed = [check.name for check in checks_of(figures, result.choice.wanted) if not check.met]
        rows.append([
            f"{index + 1}{'*' if index in result.front else ''}",
            plain(entry.candidate.cost, 6),
            unit.with_error(float(figures.rms[worst]), float(figures.rms_error[worst])),
            unit.plain(float(figures.lengths[worst])),
            unit.with_error(float(figures.bias[worst]), float(figures.std[worst]) / figures.trials**0.5),
            percent(figures.least_yield),
            ", ".join(failed) or "-",
            "" if comparison is None else _sure(comparison.difference, comparison.confidence),
            entry.candidate.name,
        ])  # fmt: skip
    head = ["", "cost", f"RMS error\n/ {unit.name}", f"worst at\n/ {unit.name}", "bias\nthere", "yield"]
    head += ["fails", "less error\nthan 1?", "rig"]
    lengths = result.finalists[0].evaluation.figures
    count = 0 if lengths is None else len(result.finalists) - 1
    return [
        "Final round, other random numbers; * on the front of cost and RMS error:",
        tabulate(rows, head, maxcolwidths=[None] * 6 + [12, 14, 42], disable_numparse=True,
                 colalign=("left",) + ("right",) * 5 + ("left",) * 3),
        "RMS error: root mean square error, bias included, at the part length where it is largest.",
        f"less error than 1?: one-sided confidence from paired trials, corrected for {count} comparisons "
        "(Bonferroni).",
    ]  # fmt: skip


def _sure(difference: float, confidence: float) -> str:
    """Whether the rival is more certain than the first finalist; ``difference`` is the rival's excess."""
    if math.isnan(confidence):
        return "the same"
    word = "no" if difference > 0.0 else "yes"
    return f"{word} ({percent(confidence)})" if confidence > 0.5 else f"{word} (unsure)"


def _winner(result: ChoiceResult, unit: LengthUnit) -> list[str]:
    first, wanted = result.finalists[0], result.choice.wanted
    figures = first.evaluation.figures
    assert figures is not None
    checks = checks_of(figures, wanted)
    if result.winner is None:
        failed = ", ".join(check.name for check in checks if not check.met)
        head = f"No candidate meets the requirement. The first in order fails: {failed}."
    else:
        head = (
            f"Winner, the cheapest that meets everything by these estimates: {first.candidate.name}, cost "
            + plain(first.candidate.cost, 6)
        )
    lines = textwrap.wrap(head, 100)
    lines += [f"  {_check(check, unit)}" for check in checks]
    gain, zero = first.evaluation.line
    if (gain, zero) != (1.0, 0.0):
        lines.append("  calibration: each rig at hand by itself, as these figures are; the nominal rig by")
        lines.append(f"  reading times {gain:.7g}, plus {unit.fixed(zero, 4)} {unit.name}")
    if first.evaluation.busy == first.evaluation.busy:
        lines.append(f"  the counter takes the next part {first.evaluation.busy:.3g} s after one arrives")
    return lines


def _check(check: Check, unit: LengthUnit) -> str:
    def said(value: float) -> str:
        if check.unit == "m":
            return f"{unit.fixed(value, 4)} {unit.name}"
        return plain(value) if check.name == "C_gk" else percent(value)

    bound = f", 95 % bound {said(check.bound)}" if check.bound == check.bound else ""
    side = "at least" if check.name in ("yield", "C_gk") else "at most"
    return f"{check.name}: {said(check.value)}{bound}; wanted {side} {said(check.limit)}"
