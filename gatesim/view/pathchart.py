"""Speed over the path, with the gates and what acts along it."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from gatesim.explanation.area import SpeedCurve, speed_curve
from gatesim.motion.force.base import Drawn
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.riggeometry import RigGeometry, rig_geometry
from gatesim.view.style import BLACK, BLUE, GREEN, ORANGE, SKY, VERMILION, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from gatesim.view.setup import SetUp

_ZONES = {
    "magnets": (ORANGE, "///", "magnets"),
    "spring": (GREEN, "...", "spring"),
    "belt": (SKY, "---", "belt"),
}
STRIP = 0.06
"""Share of the height in which a zone is hatched."""
CROWDED = 0.07
"""Gates closer than this share of the abscissa share a label."""


def path_chart(
    curve: SpeedCurve, rig: RigGeometry, axes: "Axes | None" = None, unit: LengthUnit = MM
) -> "Axes":
    """Draw the speed of the leading end over its travel; gates by number above, zones hatched."""
    axes = axes or new_axes(6.0, 3.6)
    scale, end = unit.per_metre, max(rig.end, float(curve.position.max(initial=0.0)))
    for drawn in rig.forces:
        _zone(axes, drawn, scale, end)
    axes.plot(scale * curve.position, curve.speed, color=BLUE, linewidth=1.8, label="leading end")
    for gate in rig.gates:
        axes.axvline(scale * gate, color=BLACK, linewidth=1.0, linestyle=(0, (4, 2)))
    _gate_names(axes, rig.gates, scale, end)
    stops = curve.speed.size and curve.speed[-1] == 0.0
    if stops:
        at = scale * curve.position[-1]
        axes.plot(at, 0.0, "X", color=VERMILION, markersize=8, clip_on=False, zorder=4, label="stops")
    axes.set_xlim(0.0, scale * end)
    axes.set_ylim(0.0, 1.12 * float(curve.speed.max(initial=0.1)))
    axes.set_xlabel(f"travel of the leading end / {unit.name}")
    axes.set_ylabel("speed / (m/s)")
    axes.grid(alpha=0.3, linewidth=0.6)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.24), ncols=3, frameon=False, fontsize="small")
    return axes


def _zone(axes: "Axes", drawn: Drawn, scale: float, end: float) -> None:
    colour, hatch, word = _ZONES[drawn.figure]
    until = end if drawn.end is None else min(drawn.end, end)
    zone = (scale * drawn.start, scale * until)
    axes.axvspan(*zone, color=colour, alpha=0.13, linewidth=0.0)
    # the hatch in a strip alone: over the whole height it would hide the curve
    axes.axvspan(
        *zone,
        0.0,
        STRIP,
        facecolor=colour,
        edgecolor=BLACK,
        hatch=hatch,
        linewidth=0.6,
        alpha=0.8,
        label=word,
    )


def _gate_names(axes: "Axes", gates: Sequence[float], scale: float, end: float) -> None:
    """Numbers above the axes; those of gates that stand close are written side by side."""
    groups: list[list[int]] = []
    for number, gate in enumerate(gates):
        if groups and gate - gates[groups[-1][-1]] < CROWDED * end:
            groups[-1].append(number)
        else:
            groups.append([number])
    for group in groups:
        middle = scale * float(np.mean([gates[number] for number in group]))
        text = ",".join(str(number + 1) for number in group)
        axes.annotate(
            text,
            (middle, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            fontsize="small",
        )


def path_panels(setups: "Sequence[SetUp]", axes: "Sequence[Axes]", unit: LengthUnit = MM) -> None:
    """A chart a set-up, all on one scale of speed."""
    for each, panel in zip(setups, axes, strict=True):
        path_chart(speed_curve(each.prediction.passage), rig_geometry(each.scenario), panel, unit)
    top = max(panel.get_ylim()[1] for panel in axes)
    for panel in axes:
        panel.set_ylim(0.0, top)
