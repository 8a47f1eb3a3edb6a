"""Error by formula: bias, where 95 % of the errors lie, and what is allowed."""

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from gatesim.studies.result import FormulaResult
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.style import BLACK, BLUE, GREY, SKY, VERMILION, new_axes
from gatesim.view.window import window

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from gatesim.view.setup import SetUp

ROOM = 1.18
"""Half-width of the axis over that of what it shows."""


def interval_chart(
    found: "dict[str, FormulaResult | None]",
    charge: str,
    allowed: float,
    reach: float,
    axes: "Axes | None" = None,
    unit: LengthUnit = MM,
) -> "Axes":
    """Draw bias and 95 % interval of each formula, one a row; ``charge`` filled, the others open.

    ``reach``: half-width of the axis, m; a bias beyond is an arrow at the border with its
    number. ``allowed``: error allowed, m, NaN for none. None in ``found``: the rig has no such formula.
    """
    axes = axes or new_axes(6.0, 0.8 + 0.4 * len(found))
    scale, edge = unit.per_metre, reach * ROOM
    if not math.isnan(allowed):
        axes.axvspan(-scale * allowed, scale * allowed, color=SKY, alpha=0.25, linewidth=0.0, label="allowed")
        for sign in (-1.0, 1.0):
            axes.axvline(sign * scale * allowed, color=BLACK, linewidth=1.2, linestyle="-.")
    axes.axvline(0.0, color=BLACK, linewidth=0.8)
    places = _places(found.values())
    for row, (name, figures) in enumerate(found.items()):
        _row(axes, row, figures, name == charge, edge, unit, places)
    axes.set_yticks(range(len(found)), list(found))
    axes.set_ylim(len(found) - 0.4, -0.75)
    axes.set_xlim(-scale * edge, scale * edge)
    axes.set_xlabel(f"error of the reading / {unit.name}")
    axes.grid(axis="x", alpha=0.3, linewidth=0.6)
    axes.locator_params(axis="x", nbins=5)
    return axes


def _row(
    axes: "Axes",
    row: int,
    figures: FormulaResult | None,
    charge: bool,
    edge: float,
    unit: LengthUnit,
    places: int,
) -> None:
    scale = unit.per_metre
    if figures is None or math.isnan(figures.bias.value):
        word = "not used" if figures is None else "no reading"
        axes.text(0.5, row, word, transform=axes.get_yaxis_transform(), ha="center", va="center", color=GREY,
                  fontsize="small", bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0})  # fmt: skip
        return
    bias, low, high = figures.bias.value, figures.low.value, figures.high.value
    colour = VERMILION if charge else BLUE
    if abs(bias) > edge:
        at = math.copysign(0.96 * edge, bias)
        axes.plot(
            scale * at, row, "<" if bias < 0.0 else ">", color=colour, markersize=8, markeredgecolor=BLACK
        )
    else:
        for end in (low, high):
            beyond = abs(end) > edge
            marker = "|" if not beyond else "<" if end < 0.0 else ">"
            reached = math.copysign(0.98 * edge, end) if beyond else end
            axes.plot([scale * bias, scale * reached], [row, row], color=BLACK, linewidth=1.4, marker=marker,
                      markersize=7, markevery=[1])  # fmt: skip
        axes.plot(scale * bias, row, "D" if charge else "o", color=colour if charge else "white",
                  markeredgecolor=colour if not charge else BLACK, markersize=6.5, zorder=3)  # fmt: skip
        at = bias
    side = "left" if at < -0.6 * edge else "right" if at > 0.6 * edge else "center"
    axes.annotate(
        unit.signed(bias, places),
        (scale * at, row),
        xytext=(0, 5),
        textcoords="offset points",
        ha=side,
        va="bottom",
        fontsize="x-small",
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.8},
        zorder=4,
    )


def _places(found: "Iterable[FormulaResult | None]") -> int:
    """Decimals in mm, 1 to 4, that show every bias to a tenth of its uncertainty."""
    least = min(
        (f.uncertainty.value for f in found if f is not None and f.uncertainty.value > 0.0), default=1e-5
    )
    return min(max(math.ceil(-math.log10(1e3 * least)) + 1, 1), 4)


def interval_panels(
    setups: "Sequence[SetUp]", formulas: Sequence[str], axes: "Sequence[Axes]", unit: LengthUnit = MM
) -> None:
    """A chart a set-up, all on one scale, which a gross error of a few does not squeeze."""
    every = [f for each in setups for f in each.study.formulas.values()]
    allowed = max((each.allowed for each in setups if each.allowed == each.allowed), default=0.0)
    reach = window([max(abs(f.low.value), abs(f.high.value)) for f in every], 1.2 * allowed)
    for each, panel in zip(setups, axes, strict=True):
        found = {name: each.study.formulas.get(name) for name in formulas}
        interval_chart(found, each.formula, each.allowed, reach, panel, unit)
