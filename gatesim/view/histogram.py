"""Histogram of the readings of a study."""

import math
from typing import TYPE_CHECKING

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.studies.result import FormulaResult, StudyResult
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.number import decimals_for, plain
from gatesim.view.style import BLACK, GREEN, SKY, VERMILION, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BINS = 72


def bin_edges(found: FormulaResult) -> Array:
    """Edges in m of error: the middle 99.9 % of the readings, widened a little."""
    n = found.curve.count
    low, high = (float(v) for v in found.curve.at(np.array([1.0 + 0.0005 * (n - 1), n - 0.0005 * (n - 1)])))
    margin = 0.06 * (high - low) or 1e-6
    return np.linspace(low - margin, high + margin, BINS + 1)


def histogram(
    result: StudyResult,
    formula: str,
    lower_limit: float | None = None,
    upper_limit: float | None = None,
    axes: "Axes | None" = None,
    unit: LengthUnit = MM,
) -> "Axes":
    """Draw the readings of one formula with true length, bias, coverage interval and tolerance limits.

    The abscissa is the reading; where the true length varies from trial to trial it is the
    error, reading minus true length, and the limits (m) are left out.
    """
    axes = axes or new_axes()
    found = result.formulas[formula]
    varies = result.true_length_varies
    zero = 0.0 if varies else result.true_length
    scale, mm = unit.per_metre, unit.name
    axes.set_xlabel(f"error, reading - true length / {mm}" if varies else f"reading / {mm}")
    axes.set_ylabel(f"share of readings per {mm}")
    axes.set_title(f"{formula}: {found.readings:,} readings of {result.trials:,} trials", fontsize="medium")
    if not found.readings:
        axes.text(0.5, 0.5, "no readings", transform=axes.transAxes, ha="center")
        return axes
    edges = bin_edges(found)
    density = found.curve.counts(edges) / found.readings / (np.diff(edges) * scale)
    axes.stairs(density, scale * (edges + zero), fill=True, color=SKY, alpha=0.55, zorder=1)
    axes.stairs(density, scale * (edges + zero), color=BLACK, linewidth=0.6, zorder=2)
    low, high = scale * (zero + found.low.value), scale * (zero + found.high.value)
    sure = scale * (found.low.error if found.low.error > 0.0 else 0.05 * found.uncertainty.value)
    ends = [f"{scale * end.value:+.{decimals_for(sure)}f}" for end in (found.low, found.high)]
    p = f"{100.0 * result.plan.coverage:g} %"
    axes.axvspan(low, high, color=BLACK, alpha=0.07, zorder=0)
    for end in (low, high):
        axes.axvline(end, color=BLACK, linewidth=1.0, linestyle=":", zorder=3)
    # proxies, so that the legend has one entry for both ends and names the numbers
    axes.plot([], [], color=BLACK, linewidth=1.0, linestyle=":",
              label=f"{p} coverage interval of the error: "
              f"{ends[0]} to {ends[1]} {mm}")  # fmt: skip
    true_label = "no error" if varies else f"true length {plain(scale * zero, 7)} {mm}"
    axes.axvline(scale * zero, color=GREEN, linewidth=2.0, label=true_label, zorder=4)
    places = decimals_for(scale * found.bias.error)
    bias, mean = scale * found.bias.value, "mean error" if varies else "mean reading"
    axes.axvline(scale * zero + bias, color=VERMILION, linewidth=1.8, linestyle="--",
                 label=f"{mean}: bias {bias:+.{places}f} {mm}", zorder=4)  # fmt: skip
    if not varies:
        _limits(axes, lower_limit, upper_limit, unit)
    axes.set_ylim(bottom=0.0)
    axes.ticklabel_format(axis="x", useOffset=False)
    axes.margins(x=0.02)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=2, frameon=False, fontsize="small")
    return axes


def _limits(axes: "Axes", lower: float | None, upper: float | None, unit: LengthUnit) -> None:
    scale = unit.per_metre
    said = [plain(scale * limit, 7) for limit in (lower, upper) if limit is not None and math.isfinite(limit)]
    for limit in (lower, upper):
        if limit is not None:
            axes.axvline(scale * limit, color=BLACK, linewidth=1.6, linestyle="-.", zorder=4)
    if said:
        axes.plot([], [], color=BLACK, linewidth=1.6, linestyle="-.",
                  label=f"tolerance limits {' and '.join(said)} {unit.name}")  # fmt: skip
