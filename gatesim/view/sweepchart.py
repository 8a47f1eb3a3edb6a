"""Chart of a sweep over one quantity: a curve with its band, and what the requirement allows."""

from typing import TYPE_CHECKING, Any

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.studies.sweep import SweepResult
from gatesim.view.lengthunit import LengthUnit, unit_of
from gatesim.view.style import BLACK, BLUE, GREY, SKY, VERMILION, new_axes
from gatesim.view.sweepshown import Shown, axis_values, missing, scaled, shown, span
from gatesim.view.window import GROSS, curve_reach

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def sweep_chart(
    result: SweepResult,
    formula: str,
    show: str,
    axes: "Axes | None" = None,
    unit: LengthUnit | None = None,
    allowed: Array | None = None,
) -> "Axes":
    """Draw what a sweep shows ("bias", "uncertainty" or "yield") of one formula.

    ``unit``: of lengths; without one errors are in mm and the axis as it was given. ``allowed``: error
    that the requirement allows at each point, m.
    """
    axes = axes or new_axes(6.6, 4.6)
    axes.set_title(f"{show} of {formula}, {result.plan.trials:,} trials a point", fontsize="medium")
    limits = np.full(result.outcome.shape, np.nan) if allowed is None else allowed
    drawn = shown(result, formula, show, unit or unit_of(None), limits)
    if len(result.axes) == 1:
        return _curve(result, drawn, show, axes, unit)
    from gatesim.view.sweepmap import sweep_map

    return sweep_map(result, formula, show, drawn, axes, unit, limits)


def _curve(result: SweepResult, drawn: Shown, show: str, axes: "Axes", unit: LengthUnit | None) -> "Axes":
    (axis,) = result.axes
    at = axis_values(axis, unit)
    scaled(axes.xaxis, axis, unit)
    axes.set_xlim(span(at, axis.logarithmic))
    axes.set_ylabel(drawn.label)
    blank, why = missing(result, drawn.value)
    if blank.all():
        axes.set_yticks([])
        axes.text(0.5, 0.5, why, transform=axes.transAxes, ha="center", va="center")
        return axes
    axes.fill_between(at, drawn.low, drawn.high, color=SKY, alpha=0.35, linewidth=0.0, label=drawn.band)
    marker = "o" if at.size <= 40 else ""
    word = "mean" if show == "bias" else show
    axes.plot(at, drawn.value, color=BLUE, marker=marker, markersize=3.5, label=word)
    if blank.any():
        axes.plot(at[blank], np.full(blank.sum(), 0.02), "x", color=VERMILION, markersize=5,
                  transform=axes.get_xaxis_transform(), label=why)  # fmt: skip
    if show == "bias":
        axes.axhline(0.0, color=BLACK, linewidth=0.8)
    axes.ticklabel_format(axis="y", useOffset=False)
    if show == "yield":
        axes.set_ylim(top=100.0 + 0.05 * max(100.0 - float(np.nanmin(drawn.low)), 0.1))
    else:
        _stretch(axes, at, drawn)
        _allowed(axes, at, drawn, show)
    axes.grid(alpha=0.3, linewidth=0.6)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=2, frameon=False, fontsize="small")
    return axes


def _stretch(axes: "Axes", at: Array, drawn: Shown) -> None:
    """Show most of the curve; gross points are marked at the border that they lie beyond."""
    middle = float(np.nanmedian(drawn.value))
    reach = curve_reach(np.abs(drawn.value[np.isfinite(drawn.value)] - middle))
    low = max(float(np.nanmin([drawn.low, drawn.value])), middle - reach)
    high = min(float(np.nanmax([drawn.high, drawn.value])), middle + reach)
    room = 0.06 * (high - low) or 1e-6
    axes.set_ylim(low - room, high + room)
    for beyond, border, marker in (
        (drawn.value > high + room, 0.985, "^"), (drawn.value < low - room, 0.015, "v"),
    ):  # fmt: skip
        if beyond.any():
            far = drawn.value[beyond]
            furthest = float(far[np.argmax(np.abs(far))])
            axes.plot(
                at[beyond],
                np.full(beyond.sum(), border),
                marker,
                color=VERMILION,
                markeredgecolor=BLACK,
                markersize=7,
                transform=axes.get_xaxis_transform(),
                linestyle="none",
                label=f"off the scale, as far as {furthest:.3g}",
            )


def _allowed(axes: "Axes", at: Array, drawn: Shown, show: str) -> None:
    """The tolerance band, if it lies in sight or not far beyond."""
    if np.isnan(drawn.limit).all():
        return
    low, high = axes.get_ylim()
    most = float(np.nanmax(drawn.limit))
    in_sight = most <= GROSS * max(abs(low), abs(high))
    words = "allowed" if show == "bias" else "allowed beside the bias"
    label = words if in_sight else f"{words}: up to {most:.3g}, off the scale"
    style: dict[str, Any] = {"color": BLACK, "linewidth": 1.3, "linestyle": "-.", "label": label}
    axes.plot(at, drawn.limit, **style)
    axes.fill_between(at, -drawn.limit if show == "bias" else 0.0, drawn.limit, color=GREY, alpha=0.13,
                      linewidth=0.0, zorder=0)  # fmt: skip
    if show == "bias":
        axes.plot(at, -drawn.limit, **{**style, "label": None})
    if in_sight:
        least = -1.08 * most if show == "bias" else 0.0
        axes.set_ylim(min(low, least), max(high, 1.08 * most))
    else:
        axes.set_ylim(low, high)
