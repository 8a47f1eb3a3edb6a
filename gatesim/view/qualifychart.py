"""Figures of a qualification: each takes results and optional axes, and returns the axes."""

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.shopfloor.decision import Limits, acceptance_probability
from gatesim.shopfloor.gaugestudy import GaugeStudy
from gatesim.shopfloor.qualification import Qualification
from gatesim.shopfloor.typeone import Linearity, TypeOne
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.style import BLACK, BLUE, GREY, ORANGE, SKY, VERMILION, log_ticks, new_axes, panel_grid
from gatesim.view.window import curve_reach

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def run_chart(study: TypeOne, indications: Array, ax: "Axes | None" = None, unit: LengthUnit = MM) -> "Axes":
    """Indications (m) of the reference part in order, with the share of the tolerance allowed."""
    ax = ax or new_axes(6.0, 4.0)
    share = study.convention.share / 2 * study.tolerance
    number = np.arange(1.0, indications.size + 1.0)
    shown = _within(ax, number, unit.per_metre * indications, unit.per_metre * study.reference)
    ax.plot(
        number,
        shown,
        "o-",
        color=BLUE,
        markersize=3,
        linewidth=0.6,
        label="indication",
    )
    ax.axhline(unit.per_metre * study.reference, color=BLACK, linewidth=1.0, label="reference")
    ax.axhline(unit.per_metre * study.mean, color=ORANGE, linestyle="--", linewidth=1.2, label="mean")
    label = f"reference ± {study.convention.share / 2:g} T"
    for sign in (-1.0, 1.0):
        ax.axhline(
            unit.per_metre * (study.reference + sign * share),
            color=VERMILION,
            linestyle=":",
            linewidth=1.2,
            label=label if sign > 0 else None,
        )
    ax.set(xlabel="indication number", ylabel=f"length / {unit.name}")
    ax.set_title(f"Type-1: $C_g$ = {study.c_g:.2f}, $C_{{gk}}$ = {study.c_gk:.2f}")
    _legend_above(ax, 3)
    return ax


def _within(ax: "Axes", at: Array, values: Array, middle: float) -> Array:
    """The values, gross ones as NaN: these are marked at the border and do not flatten the rest."""
    distance = np.abs(values - middle)
    beyond = distance > curve_reach(distance)
    for side, border, marker in ((values > middle, 0.97, "^"), (values < middle, 0.03, "v")):
        some = beyond & side
        if some.any():
            furthest = float(values[some][np.argmax(distance[some])])
            ax.plot(at[some], np.full(some.sum(), border), marker, color=VERMILION, markeredgecolor=BLACK,
                    transform=ax.get_xaxis_transform(), label=f"off, to {furthest:.4g}")  # fmt: skip
    return np.where(beyond, np.nan, values)


def linearity_chart(
    line: Linearity, references: Array, bias: Array, ax: "Axes | None" = None, unit: LengthUnit = MM
) -> "Axes":
    """Bias of single indications over the reference length (m), line and 95 % band."""
    ax = ax or new_axes(6.0, 4.0)
    shown = _within(ax, unit.per_metre * references, unit.per_metre * bias, 0.0)
    ax.plot(unit.per_metre * references, shown, ".", color=GREY, markersize=4, label="indication")
    ax.plot(unit.per_metre * line.at, unit.per_metre * line.bias, "D", color=BLUE, markersize=5, label="mean")
    ax.plot(
        unit.per_metre * line.at,
        unit.per_metre * (line.intercept + line.slope * line.at),
        color=BLUE,
        label="line",
    )
    ax.fill_between(
        unit.per_metre * line.at,
        unit.per_metre * line.band[:, 0],
        unit.per_metre * line.band[:, 1],
        color=SKY,
        alpha=0.35,
        label="95 % band",
    )
    ax.axhline(0.0, color=BLACK, linewidth=0.8)
    ax.set(xlabel=f"reference length / {unit.name}", ylabel=f"bias / {unit.name}")
    ax.set_title("Linearity")
    _legend_above(ax, 4)
    return ax


def components_chart(study: GaugeStudy, ax: "Axes | None" = None, unit: LengthUnit = MM) -> "Axes":
    """Standard deviations of the components (m) with their 95 % intervals, on a log scale."""
    ax = ax or new_axes(6.0, 4.0)
    shown = {k: c for k, c in study.components.items() if c.std > 0.0}
    floor = 0.3 * min((c.std for c in shown.values()), default=1.0)
    at = np.arange(len(shown))
    std = np.array([c.std for c in shown.values()])
    low = np.array([max(c.std_interval[0], floor) for c in shown.values()])
    high = np.array([c.std_interval[1] for c in shown.values()])
    errors = unit.per_metre * np.array([np.maximum(std - low, 0.0), np.maximum(high - std, 0.0)])
    ax.errorbar(unit.per_metre * std, at, xerr=errors, fmt="o", color=BLUE, ecolor=GREY, capsize=3)
    if shown:
        log_ticks(ax.xaxis, *_room(unit.per_metre * low, unit.per_metre * high), most=5)
        ax.set_xlim(_room(unit.per_metre * low, unit.per_metre * high))
    ax.set_yticks(at, list(shown))
    ax.invert_yaxis()
    ax.grid(axis="x", which="both", alpha=0.25)
    ax.set(xlabel=f"standard deviation / {unit.name}, 95 % interval")
    known = math.isfinite(study.categories)
    ax.set_title(f"Components: {math.floor(study.categories)} distinct categories" if known else "Components")
    return ax


def _room(low: Array, high: Array) -> tuple[float, float]:
    """Ends of a log axis that shows these intervals; an end without bound has none."""
    known = high[np.isfinite(high)]
    return 0.8 * float(low.min()), 1.25 * float(known.max() if known.size else 10.0 * low.max())


def means_chart(
    lengths: Array,
    parts: tuple[str, ...],
    operators: tuple[str, ...],
    ax: "Axes | None" = None,
    unit: LengthUnit = MM,
) -> "Axes":
    """Mean of each operator at each part, less the mean of the part (m): the interaction seen."""
    ax = ax or new_axes(6.0, 4.0)
    names = list(dict.fromkeys(parts))
    part, operator = np.array(parts), np.array(operators)
    centre = {p: float(lengths[part == p].mean()) for p in names}
    styles = [("o", "-"), ("s", "--"), ("^", ":"), ("D", "-."), ("v", "-")]
    colours = [BLUE, VERMILION, BLACK, ORANGE, SKY]
    for k, who in enumerate(dict.fromkeys(operators)):
        means = [float(lengths[(part == p) & (operator == who)].mean()) - centre[p] for p in names]
        (marker, dash), height = styles[k % 5], unit.per_metre * np.array(means)
        ax.plot(range(len(names)), height, marker + dash, color=colours[k % 5], markersize=4,
                label=who or "readings")  # fmt: skip
    ax.set_xticks(range(len(names)), names, rotation=90 if max(map(len, names)) > 3 else 0)
    ax.axhline(0.0, color=BLACK, linewidth=0.8)
    ax.set(xlabel="part", ylabel=f"operator's mean less part's / {unit.name}")
    ax.set_title("Operators by part")
    _legend_above(ax, 4)
    return ax


def acceptance_chart(limits: Limits, std: float, ax: "Axes | None" = None, unit: LengthUnit = MM) -> "Axes":
    """Probability that a part is accepted over its true length (m), and the limits."""
    ax = ax or new_axes(6.0, 4.0)
    margin = max(6.0 * std, 0.1 * (limits.upper - limits.lower))
    length = np.linspace(limits.lower - margin, limits.upper + margin, 801)
    ax.plot(
        unit.per_metre * length, 100.0 * np.asarray(acceptance_probability(length, std, limits)), color=BLUE
    )
    ends = {"tolerance limits": ((limits.lower, limits.upper), BLACK, "-")}
    if limits.accept_lower < limits.accept_upper:
        ends["acceptance limits"] = ((limits.accept_lower, limits.accept_upper), VERMILION, "--")
    else:
        ax.text(0.5, 0.5, "the guard bands meet:\nno reading proves that a part conforms", ha="center",
                transform=ax.transAxes, fontsize="small")  # fmt: skip
    for label, (pair, colour, dash) in ends.items():
        ax.axvline(unit.per_metre * pair[0], color=colour, linestyle=dash, linewidth=1.0, label=label)
        ax.axvline(unit.per_metre * pair[1], color=colour, linestyle=dash, linewidth=1.0)
    ax.set(xlabel=f"true length / {unit.name}", ylabel="accepted / %", ylim=(-2.0, 102.0))
    ax.set_title("Probability of acceptance")
    _legend_above(ax, 2)
    return ax


def _legend_above(ax: "Axes", columns: int) -> None:
    """Legend between title and axes, where it covers nothing."""
    ax.legend(
        loc="lower center",
        bbox_to_anchor=(0.5, 1.0),
        ncols=columns,
        fontsize="x-small",
        frameon=False,
        handlelength=1.6,
        columnspacing=1.0,
    )
    rows = math.ceil(len(ax.get_legend_handles_labels()[0]) / columns)
    ax.set_title(ax.get_title(), pad=6 + 14 * rows)


def qualification_panels(
    result: Qualification, ax: "Axes | None" = None, unit: LengthUnit = MM
) -> "list[Axes]":
    """One panel for each study that the log allowed; ``ax`` gives its place to all of them."""
    panels = _panels(result, unit)
    columns = min(len(panels), 2)
    rows = math.ceil(len(panels) / columns)
    axes = list(panel_grid(rows, columns, (5.4 * columns, 3.7 * rows), ax).ravel())
    for spare in axes[len(panels) :]:
        spare.remove()
    return [panel(own) for panel, own in zip(panels, axes[: len(panels)], strict=True)]


def _panels(result: Qualification, unit: LengthUnit) -> "list[Callable[[Axes], Axes]]":
    lengths, log = result.lengths, result.log
    reference = log.numbers.get("reference", np.full(len(log), np.nan))
    panels: list[Callable[[Axes], Axes]] = []
    if result.type_one:
        one = min(result.type_one, key=lambda study: study.c_gk)
        own = np.isfinite(lengths) & (reference == one.reference)
        panels.append(lambda ax: run_chart(one, lengths[own], ax, unit))
    if result.linearity is not None:
        line, both = result.linearity, np.isfinite(lengths) & np.isfinite(reference)
        panels.append(
            lambda ax: linearity_chart(line, reference[both], (lengths - reference)[both], ax, unit)
        )
    if result.gauge is not None:
        study, rows = result.gauge.chosen, result.gauge_rows
        panels.append(lambda ax: components_chart(study, ax, unit))
        if study.operators > 1:
            parts = tuple(log.labels["part"][k] for k in rows)
            operators = tuple(log.labels["operator"][k] for k in rows)
            panels.append(lambda ax: means_chart(lengths[rows], parts, operators, ax, unit))
    panels.append(lambda ax: acceptance_chart(result.limits, result.combined.std, ax, unit))
    return panels
