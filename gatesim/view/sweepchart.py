"""Chart of a sweep over one quantity: a curve with its band, and what the requirement allows."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.studies.sweep import SweepResult, SweptQuantity
from gatesim.view.lengthunit import LengthUnit, restated, unit_of
from gatesim.view.style import BLACK, BLUE, GREY, SKY, VERMILION, log_ticks, new_axes
from gatesim.view.sweeptext import no_reading
from gatesim.view.window import GROSS, curve_reach

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import XAxis, YAxis


@dataclass(frozen=True)
class Shown:
    """What is drawn over the grid: values and band, in the unit of ``label``; arrays of its shape.

    ``band``: what the band is. ``limit``: what the requirement allows, NaN where it states nothing.
    """

    value: Array
    low: Array
    high: Array
    limit: Array
    label: str
    band: str


def axis_label(axis: SweptQuantity, unit: LengthUnit | None = None) -> str:
    """Path and unit of a varied quantity."""
    name, _ = restated(axis.unit, unit)
    return f"{axis.path} / {name}" if name else axis.path


def axis_values(axis: SweptQuantity, unit: LengthUnit | None = None) -> Array:
    """Its values in the unit of its label."""
    return np.asarray(restated(axis.unit, unit)[1] * axis.values)


def shown(result: SweepResult, formula: str, show: str, unit: LengthUnit, allowed: Array) -> Shown:
    """What a sweep shows of one formula.

    A bias may be as large as what is allowed; a standard uncertainty half of what the bias leaves of
    it, since bias and twice the standard uncertainty are judged together.
    """
    table, scale = result.formulas[formula], unit.per_metre
    if show == "yield":
        low, high = 100.0 * table["yield_low"], 100.0 * table["yield_high"]
        none = np.full(low.shape, np.nan)
        return Shown(100.0 * table["yield"], low, high, none, "yield / %", "95 % confidence interval")
    value = scale * table[show]
    if show == "bias":
        low, high = scale * table["low"], scale * table["high"]
        band = f"{100.0 * result.plan.coverage:g} % coverage interval of the error"
        return Shown(value, low, high, scale * allowed, f"error of the reading / {unit.name}", band)
    error = 2.0 * scale * table["uncertainty_error"]
    left = 0.5 * scale * (allowed - np.abs(table["bias"]))
    limit = np.where(left > 0.0, left, np.nan)
    band = "plus and minus two Monte Carlo errors"
    return Shown(value, value - error, value + error, limit, f"standard uncertainty / {unit.name}", band)


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


def span(values: Array, logarithmic: bool) -> tuple[float, float]:
    """Limits of a side that shows the whole axis, read or not, with a little room."""
    low, high = float(values.min()), float(values.max())
    if logarithmic:
        room = (high / low) ** 0.03
        return low / room, high * room
    return low - 0.03 * (high - low), high + 0.03 * (high - low)


def missing(result: SweepResult, value: Array) -> tuple[NDArray[np.bool_], str]:
    """Points reached but not read, and what became of most of them."""
    blank = np.isnan(value) & (result.outcome != "")
    words = [no_reading(str(word)) for word in result.outcome[blank]]
    return blank, max(dict.fromkeys(words), key=words.count, default="")


def scaled(side: "XAxis | YAxis", axis: SweptQuantity, unit: LengthUnit | None) -> None:
    """Label a side; on a log scale write 10 and 100, not powers."""
    side.set_label_text(axis_label(axis, unit))
    if axis.logarithmic:
        log_ticks(side, *span(axis_values(axis, unit), True))


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
