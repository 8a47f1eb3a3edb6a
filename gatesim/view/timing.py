"""Timing diagram of one passage."""

from collections.abc import Mapping
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.prediction.trace import GateTrace, Moment, Trace
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.style import BLACK, BLUE, GREEN, GREY, SKY, VERMILION, panel_grid

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MS = 1e3
LANE, GAP = 0.8, 0.35
CURVE_POINTS = 2000
MOST_ROWS = 14
CLOSE = 0.025
"""Share of the time axis within which marks of moments are put side by side."""


def timing_diagram(
    trace: Trace,
    axes: NDArray[Any] | None = None,
    measured: Mapping[int, Array] | None = None,
    unit: LengthUnit = MM,
) -> NDArray[Any]:
    """Draw light, sensor output and filtered input of every gate above the count register, over time in ms.

    ``axes``: array (gates + 1, 2) of Axes. Left the whole passage, high is dark; dots and broken
    lines are counts latched and held until the re-arm. Right, gate by gate, a closer look at
    its first edge, and the moments by number with what was latched. ``measured``: edges (k,) s of a
    real sensor by gate, drawn in a lane of their own.
    """
    real = measured or {}
    found = timing_grid(len(trace.gates)) if axes is None else axes
    begin, end = _span(trace)
    marks = _marks(trace.moments)
    for gate, (whole, close) in zip(trace.gates, found[:-1], strict=True):
        _lanes(whole, gate, begin, end, real.get(gate.gate))
        whole.set_ylabel(f"gate {gate.gate}\nat {unit.plain(gate.position)} {unit.name}")
        whole.tick_params(labelbottom=False)
        _edge(close, gate)
    _register(found[-1, 0], trace, begin, end)
    for moment in trace.moments:
        ends = moment.register == "rearm"
        style = {"color": GREEN, "linestyle": "-"} if ends else {"color": BLACK, "linestyle": ":"}
        for axis in found[:, 0]:
            axis.axvline(MS * moment.time, linewidth=0.7, zorder=0, **style)
        if ends:
            found[-1, 0].annotate("re-arm", (MS * moment.time, 1.0), xycoords=("data", "axes fraction"),
                                  xytext=(3, -2), textcoords="offset points", va="top", color=GREEN,
                                  fontsize="small")  # fmt: skip
    _number(found[0, 0], marks, begin, end)
    _table(found[-1, 1], trace, marks, unit)
    found[0, 0].set_title(f"{trace.scenario}: {trace.outcome}", loc="left", fontsize="medium", pad=20)
    found[0, 1].set_title("first edge, closer", fontsize="medium")
    return found


def timing_grid(gates: int, place: "Axes | None" = None) -> NDArray[Any]:
    """Axes for the diagram, (gates + 1, 2): in a figure of their own, or where ``place`` stood."""
    size = (11.0, 1.45 * gates + 2.9)
    heights = [1.0] * gates + [1.35]
    return panel_grid(gates + 1, 2, size, place, width_ratios=[2.3, 1.0], height_ratios=heights)


def _span(trace: Trace) -> tuple[float, float]:
    """The stretch of time in which something happens at the gates, with a margin, in s."""
    first = [float(times[0]) for g in trace.gates for times in (g.sensed, g.time) if times.size]
    begin = min(first, default=0.0)
    return max(0.0, begin - 0.04 * (trace.end - begin)), trace.end


def _marks(moments: tuple[Moment, ...]) -> dict[str, tuple[float, Moment]]:
    """Moments by the number they are marked with."""
    return {str(number): (moment.time, moment) for number, moment in enumerate(moments, start=1)}


def _lanes(axes: "Axes", gate: GateTrace, begin: float, end: float, measured: Array | None = None) -> None:
    """Light, output and input of a gate, one above the other, and the measured output over the simulated."""
    lanes = [("input", gate.filtered, BLUE), ("sensor", gate.sensed, VERMILION)]
    if not np.array_equal(gate.filtered, gate.acted):
        lanes.insert(0, ("as read", gate.acted, GREEN))
    if measured is not None:
        lanes.append(("measured", measured, BLACK))
    ticks, names = [], []
    for number, (name, times, color) in enumerate(lanes):
        base = number * (LANE + GAP)
        _square_wave(axes, times, base, color, begin, end)
        ticks.append(base + 0.5 * LANE)
        names.append(name)
    base = len(lanes) * (LANE + GAP)
    time = np.concatenate([[begin], gate.time, [end]])
    shown = time[(time >= begin) & (time <= end)]
    height = base + LANE * np.concatenate([gate.blocked_at(shown)])
    axes.fill_between(MS * shown, base, height, color=SKY, alpha=0.6, linewidth=0)
    axes.plot(MS * shown, height, color=BLACK, linewidth=0.8)
    axes.set_yticks([*ticks, base + 0.5 * LANE], [*names, "light blocked"])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(-GAP, base + LANE + GAP)
    axes.set_xlim(MS * begin, MS * end)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _square_wave(axes: "Axes", times: Array, base: float, color: str, begin: float, end: float) -> None:
    level = np.arange(times.size + 1) % 2
    edges = np.concatenate([[min(begin, *times, begin)], times, [max(end, *times, end)]])
    axes.fill_between(MS * edges, base, base + LANE * np.append(level, level[-1]), step="post",
                      color=color, alpha=0.15, linewidth=0)  # fmt: skip
    axes.step(MS * edges, base + LANE * np.append(level, level[-1]), where="post", color=color, linewidth=1.1)


def _edge(axes: "Axes", gate: GateTrace) -> None:
    """The first edge at a gate, from the first shade on the beam until the counter has it."""
    lists = [times for times in (gate.light, gate.sensed, gate.filtered, gate.acted) if times.size]
    if not lists:
        axes.set_axis_off()
        axes.text(0.5, 0.5, "no edge", transform=axes.transAxes, ha="center", va="center", color=GREY)
        return
    first = float(gate.light[0])
    last = max(float(times[0]) for times in lists)
    # chatter belongs to the edge: transitions that follow within a tenth of the dark time
    dark = float(gate.light[1]) - first if gate.light.size > 1 else 1.0
    flicker = gate.sensed[gate.sensed < first + 0.1 * dark]
    last = max(last, float(flicker[-1]) if flicker.size else last)
    full = gate.time[gate.blocked >= 0.999 * gate.blocked.max()]
    if full.size and first < float(full[0]) < first + 0.1 * dark:
        last = max(last, float(full[0]))
    shade = gate.time[(gate.blocked > 0.0) & (gate.time <= first)]
    begin = float(shade[shade >= first - 0.1 * dark][0]) if shade.size else first
    margin = max(0.15 * (last - begin), 20e-6)
    _lanes(axes, gate, begin - margin, last + margin)
    axes.set_yticks([])
    axes.locator_params(axis="x", nbins=5)
    axes.ticklabel_format(axis="x", useOffset=False)


def _register(axes: "Axes", trace: Trace, begin: float, end: float) -> None:
    moments = np.array([moment.time for moment in trace.moments])
    time = np.linspace(begin, end, CURVE_POINTS)
    time = np.unique(np.concatenate([time, moments, moments - 1e-9]))
    count = trace.count_at(time)
    axes.plot(MS * time, count, color=BLACK, linewidth=1.2)
    rearmed = {moment.cycle: moment.time for moment in trace.moments if moment.register == "rearm"}
    for moment in trace.moments:
        if moment.count is not None:
            at, until = MS * moment.time, MS * rearmed.get(moment.cycle, end)
            axes.plot([at, until], [moment.count] * 2, color=VERMILION, linewidth=0.9, linestyle="--")
            axes.plot(at, moment.count, "o", color=VERMILION, markersize=5, zorder=3)
    axes.set_xlim(MS * begin, MS * end)
    axes.set_ylim(0.0, max(1.0, 1.12 * float(np.max(count))))
    axes.set_ylabel("count register")
    axes.set_xlabel("time since release / ms")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _number(axes: "Axes", marks: dict[str, tuple[float, Moment]], begin: float, end: float) -> None:
    """Numbers of the moments above the axes; those of moments that lie close stand together."""
    groups: list[tuple[float, list[str]]] = []
    for mark, (time, _) in marks.items():
        if groups and time - groups[-1][0] < CLOSE * (end - begin):
            groups[-1][1].append(mark)
        else:
            groups.append((time, [mark]))
    for time, members in groups:
        axes.annotate(
            " ".join(members), (MS * time, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 3),
            textcoords="offset points", ha="center", fontsize="small", fontweight="bold",
        )  # fmt: skip


def _table(axes: "Axes", trace: Trace, marks: dict[str, tuple[float, Moment]], unit: LengthUnit) -> None:
    """The moments by number, with time and latched count."""
    axes.set_axis_off()
    rows = [
        f"{mark:>2} {MS * time:10.3f} ms  {moment.name}"
        + ("" if moment.count is None else f": {moment.count}")
        for mark, (time, moment) in marks.items()
    ]
    shown = (
        rows
        if len(rows) <= MOST_ROWS
        else [*rows[: MOST_ROWS - 1], f"   and {len(rows) - MOST_ROWS + 1} more"]
    )
    text = [f"   moments (register in {trace.counts})", *shown] if rows else ["nothing is latched"]
    if len(text) < MOST_ROWS // 2 + 1:
        text += ["", *wrap(unit.said(trace.explanation), 56)]
    axes.text(
        0.0, 1.0, "\n".join(text), transform=axes.transAxes, va="top", family="monospace", fontsize="x-small"
    )
