"""Charts of a sweep: a curve with its band over one quantity, a heat map over two."""

from typing import TYPE_CHECKING

import numpy as np

from gatesim.draw import Array
from gatesim.study.sweep import Axis, SweepResult
from gatesim.view.style import BLUE, HEAT_MAP, SKY

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MM = 1e3


def axis_label(axis: Axis) -> str:
    """Path and unit of a varied quantity."""
    return f"{axis.path} / {axis.unit}" if axis.unit else axis.path


def _shown(result: SweepResult, formula: str, show: str) -> tuple[Array, Array, Array, str, str]:
    """Values and band over the grid, the label of the ordinate, and what the band is."""
    if show == "yield":
        y = result.yields
        return (100.0 * y["yield"], 100.0 * y["yield_low"], 100.0 * y["yield_high"],
                "yield / %", "95 % confidence interval")  # fmt: skip
    table = result.formulas[formula]
    value = MM * table[show]
    if show == "bias":
        p = f"{100.0 * result.plan.coverage:g} %"
        return (
            value,
            MM * table["low"],
            MM * table["high"],
            "error of the reading / mm",
            f"{p} of the readings",
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
    import matplotlib.pyplot as plt  # deferred: costs start-up time

    if axes is None:
        _, axes = plt.subplots(figsize=(6.6, 4.6), layout="constrained")
    what = "yield" if show == "yield" else f"{show} of {formula}"
    axes.set_title(f"{what}, {result.plan.trials:,} trials a point", fontsize="medium")
    if len(result.axes) == 1:
        return _curve(result, formula, show, axes)
    return _map(result, formula, show, axes)


def _curve(result: SweepResult, formula: str, show: str, axes: "Axes") -> "Axes":
    (axis,) = result.axes
    value, low, high, label, band = _shown(result, formula, show)
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
    if show == "bias":
        axes.axhline(0.0, color="black", linewidth=0.8)
    axes.set_xscale("log" if axis.logarithmic else "linear")
    axes.set_xlabel(axis_label(axis))
    axes.set_ylabel(label)
    axes.grid(alpha=0.3, linewidth=0.6)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=2, frameon=False, fontsize="small")
    return axes


def _map(result: SweepResult, formula: str, show: str, axes: "Axes") -> "Axes":
    first, second = result.axes
    value, _, _, label, _ = _shown(result, formula, show)
    mesh = axes.pcolormesh(first.values, second.values, value.T, cmap=HEAT_MAP, shading="nearest")
    axes.figure.colorbar(mesh, ax=axes, label=label)
    read = value[np.isfinite(value)]
    if min(value.shape) > 1 and read.size and np.ptp(read) > 0.0:
        unit = "%" if show == "yield" else "mm"
        # white under black: contours are read on dark and on light ground
        for colour, width in (("white", 2.4), ("black", 0.9)):
            lines = axes.contour(
                first.values, second.values, value.T, levels=6, colors=colour, linewidths=width
            )
        for text in axes.clabel(lines, fmt=lambda v: f"{v:.4g} {unit}", fontsize="small"):
            text.set_bbox({"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.8})
    axes.set_xscale("log" if first.logarithmic else "linear")
    axes.set_yscale("log" if second.logarithmic else "linear")
    axes.set_xlabel(axis_label(first))
    axes.set_ylabel(axis_label(second))
    return axes
