"""Charts of a sweep: a curve with its band over one quantity, a heat map over two."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.studies.sweep import SweepResult, SweptQuantity
from gatesim.view.studytext import no_reading
from gatesim.view.style import BLUE, HEAT_MAP, SKY, VERMILION, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import XAxis, YAxis

MM = 1e3


def axis_label(axis: SweptQuantity) -> str:
    """Path and unit of a varied quantity."""
    return f"{axis.path} / {axis.unit}" if axis.unit else axis.path


def _shown(result: SweepResult, formula: str, show: str) -> tuple[Array, Array, Array, str, str]:
    """Values and band over the grid, the label of the ordinate, and what the band is."""
    table = result.formulas[formula]
    if show == "yield":
        return (100.0 * table["yield"], 100.0 * table["yield_low"], 100.0 * table["yield_high"],
                "yield / %", "95 % confidence interval")  # fmt: skip
    value = MM * table[show]
    if show == "bias":
        p = f"{100.0 * result.plan.coverage:g} %"
        return (
            value,
            MM * table["low"],
            MM * table["high"],
            "error of the reading / mm",
            f"{p} coverage interval of the error",
        )
    error = 2.0 * MM * table["uncertainty_error"]
    return (
        value,
        value - error,
        value + error,
        "standard uncertainty / mm",
        "plus and minus two Monte Carlo errors",
    )


def sweep_chart(result: SweepResult, formula: str, show: str, axes: "Axes | None" = None) -> "Axes":
    """Draw what a sweep shows ("bias", "uncertainty" or "yield") of one formula."""
    axes = axes or new_axes(6.6, 4.6)
    axes.set_title(f"{show} of {formula}, {result.plan.trials:,} trials a point", fontsize="medium")
    if len(result.axes) == 1:
        return _curve(result, formula, show, axes)
    return _map(result, formula, show, axes)


def _span(axis: SweptQuantity) -> tuple[float, float]:
    """Limits of a side that shows the whole axis, read or not, with a little room."""
    low, high = float(axis.values.min()), float(axis.values.max())
    if axis.logarithmic:
        room = (high / low) ** 0.03
        return low / room, high * room
    return low - 0.03 * (high - low), high + 0.03 * (high - low)


def _missing(result: SweepResult, value: Array) -> tuple[NDArray[np.bool_], str]:
    """Points reached but not read, and what became of most of them."""
    blank = np.isnan(value) & (result.outcome != "")
    words = [no_reading(str(word)) for word in result.outcome[blank]]
    return blank, max(dict.fromkeys(words), key=words.count, default="")


def _scale(side: "XAxis | YAxis", axis: SweptQuantity) -> None:
    """Label a side; on a log scale write 10 and 100, not powers."""
    side.set_label_text(axis_label(axis))
    if axis.logarithmic:
        (side.axes.set_xscale if side.axis_name == "x" else side.axes.set_yscale)("log")
        side.set_major_formatter(lambda value, _: f"{value:g}")


def _curve(result: SweepResult, formula: str, show: str, axes: "Axes") -> "Axes":
    (axis,) = result.axes
    value, low, high, label, band = _shown(result, formula, show)
    _scale(axes.xaxis, axis)
    axes.set_xlim(_span(axis))
    axes.set_ylabel(label)
    blank, why = _missing(result, value)
    if blank.all():
        axes.set_yticks([])
        axes.text(0.5, 0.5, why, transform=axes.transAxes, ha="center", va="center")
        return axes
    axes.fill_between(axis.values, low, high, color=SKY, alpha=0.35, linewidth=0.0, label=band)
    marker = "o" if axis.values.size <= 40 else ""
    axes.plot(
        axis.values,
        value,
        color=BLUE,
        marker=marker,
        markersize=3.5,
        label="mean" if show == "bias" else show,
    )
    if blank.any():
        axes.plot(axis.values[blank], np.full(blank.sum(), 0.02), "x", color=VERMILION, markersize=5,
                  transform=axes.get_xaxis_transform(), label=why)  # fmt: skip
    if show == "bias":
        axes.axhline(0.0, color="black", linewidth=0.8)
    axes.ticklabel_format(axis="y", useOffset=False)
    if show == "yield":
        axes.set_ylim(top=100.0 + 0.05 * max(100.0 - float(np.nanmin(low)), 0.1))
    axes.grid(alpha=0.3, linewidth=0.6)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=2, frameon=False, fontsize="small")
    return axes


def _levels(read: Array) -> tuple[Array, bool]:
    """Contour levels, and whether the values span so much that only a log scale shows them."""
    low, high = float(read.min()), float(read.max())
    if low > 0.0 and high / low > 20.0:
        decades = 10.0 ** np.arange(np.floor(np.log10(low)), np.ceil(np.log10(high)) + 1.0)
        levels = np.sort(np.concatenate([decades, 2.0 * decades, 5.0 * decades]))
        return levels[(levels > low) & (levels < high)], True
    from matplotlib.ticker import MaxNLocator

    levels = np.asarray(MaxNLocator(7).tick_values(low, high))
    return levels[(levels > low) & (levels < high)], False


def _map(result: SweepResult, formula: str, show: str, axes: "Axes") -> "Axes":
    from matplotlib.colors import LogNorm
    from matplotlib.patheffects import withStroke

    first, second = result.axes
    _scale(axes.xaxis, first)
    _scale(axes.yaxis, second)
    value, _, _, label, _ = _shown(result, formula, show)
    read = value[np.isfinite(value)]
    blank, why = _missing(result, value)
    levels, wide = _levels(read) if read.size else (read, False)
    mesh = axes.pcolormesh(
        first.values,
        second.values,
        value.T,
        cmap=HEAT_MAP,
        shading="nearest",
        norm=LogNorm() if wide else None,
    )
    if blank.all():
        axes.text(0.5, 0.5, why, transform=axes.transAxes, ha="center", va="center")
    elif blank.any():
        axes.set_facecolor("0.85")
        axes.set_title(f"{axes.get_title()}\ngrey: {why}", fontsize="medium")
    if not read.size:
        return axes
    axes.figure.colorbar(mesh, ax=axes, label=label, format="%g")
    if min(value.shape) > 1 and levels.size:
        unit = "%" if show == "yield" else "mm"
        lines = axes.contour(first.values, second.values, value.T, levels, colors="black", linewidths=1.0)
        # a white rim: the lines are read on dark and on light ground alike
        lines.set_path_effects([withStroke(linewidth=2.6, foreground="white")])
        for text in axes.clabel(lines, fmt=lambda v: f"{v:.4g} {unit}", fontsize="small"):
            text.set_path_effects([withStroke(linewidth=3.0, foreground="white")])
    return axes
