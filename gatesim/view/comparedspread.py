"""Distributions of the error of several set-ups, all as wide, so that widths compare by eye."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from gatesim.studies.result import FormulaResult
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.number import percent
from gatesim.view.style import BLACK, GREEN, SKY, VERMILION, new_axes
from gatesim.view.window import window

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from gatesim.view.setup import SetUp

BINS = 64
SHOWN = 1.7
"""Half-width of the axis over that of the widest 95 % interval."""
HATCHES = ("", "///", "...", "xxx", "\\\\\\", "+++")


def spread_chart(
    found: FormulaResult,
    allowed: float,
    middle: float,
    reach: float,
    axes: "Axes | None" = None,
    unit: LengthUnit = MM,
    hatch: str = "",
) -> "Axes":
    """Draw the errors from ``middle`` minus to plus ``reach`` (m): bias, 95 % interval, what is allowed.

    What does not lie within has an arrow at the border that it lies beyond.
    """
    axes, scale = axes or new_axes(6.0, 3.4), unit.per_metre
    axes.set_xlim(scale * (middle - reach), scale * (middle + reach))
    axes.set_xlabel(f"error of the reading / {unit.name}")
    axes.set_ylabel("share of readings / %")
    axes.locator_params(axis="x", nbins=4)
    axes.ticklabel_format(axis="x", useOffset=False)
    axes.grid(alpha=0.3, linewidth=0.6)
    if not found.readings:
        axes.text(0.5, 0.5, "no readings", transform=axes.transAxes, ha="center", va="center")
        return axes
    edges = np.linspace(middle - reach, middle + reach, BINS + 1)
    share = 100.0 * found.curve.counts(edges) / found.readings
    axes.stairs(share, scale * edges, fill=True, facecolor=SKY, edgecolor=BLACK, alpha=0.6, hatch=hatch,
                linewidth=0.0)  # fmt: skip
    axes.stairs(share, scale * edges, color=BLACK, linewidth=0.8)
    axes.axvspan(scale * found.low.value, scale * found.high.value, color=BLACK, alpha=0.08, linewidth=0.0,
                 label="95 % of the errors")  # fmt: skip
    axes.axvline(scale * found.bias.value, color=VERMILION, linewidth=1.8, linestyle="--", label="bias")
    axes.axvline(0.0, color=GREEN, linewidth=2.0, label="no error")
    if not math.isnan(allowed):
        for sign in (-1.0, 1.0):
            axes.axvline(sign * scale * allowed, color=BLACK, linewidth=1.2, linestyle="-.",
                         label="allowed" if sign > 0.0 else None)  # fmt: skip
    _beyond(axes, found, middle, reach)
    return axes


def _beyond(axes: "Axes", found: FormulaResult, middle: float, reach: float) -> None:
    """Say at the border how many readings lie beyond it, and where zero lies if not in sight."""
    n = found.readings
    below, above = (
        float(c) / n
        for c in found.curve.counts(np.array([-np.inf, middle - reach, middle + reach, np.inf]))[[0, 2]]
    )
    left = [f"\u25c0 {percent(below)}"] if below else []
    right = [f"{percent(above)} \u25b6"] if above else []
    if abs(middle) > reach:
        (right if middle < 0.0 else left).append("no error \u25b6" if middle < 0.0 else "\u25c0 no error")
    for lines, at, side in ((left, 0.02, "left"), (right, 0.98, "right")):
        axes.text(at, 0.97, "\n".join(lines), transform=axes.transAxes, ha=side, va="top", fontsize="x-small",
                  bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.8})  # fmt: skip


def spread_panels(setups: "Sequence[SetUp]", axes: "Sequence[Axes]", unit: LengthUnit = MM) -> None:
    """A chart a set-up on one width: about no error where that is near, else about its own bias."""
    half = [0.5 * (each.interval[1] - each.interval[0]) for each in setups]
    room = SHOWN * window([h for h in half if h > 0.0], 1e-4)
    near = [each.allowed for each in setups if each.allowed < 3.0 * room]
    reach = max([room, *(1.2 * allowed for allowed in near)])
    for number, (each, panel) in enumerate(zip(setups, axes, strict=True)):
        far = math.isfinite(each.bias) and abs(each.bias) + SHOWN * half[number] > reach
        middle = each.bias if far else 0.0
        spread_chart(each.figures, each.allowed, middle, reach, panel, unit, HATCHES[number])
        if panel.get_legend_handles_labels()[0]:  # none without readings
            panel.legend(
                loc="upper center", bbox_to_anchor=(0.5, -0.27), ncols=2, frameon=False, fontsize="x-small"
            )
