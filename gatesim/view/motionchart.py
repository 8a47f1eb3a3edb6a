"""Speed and position of a part over time."""

from typing import TYPE_CHECKING

import numpy as np

from gatesim.explanation.area import SpeedCurve
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.style import BLACK, BLUE, ORANGE, SKY, VERMILION, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MS = 1e3
AROUND = 0.6
"""Time shown before and after the dwell, as a share of it."""


def speed_chart(curve: SpeedCurve, axes: "Axes | None" = None, unit: LengthUnit = MM) -> "Axes":
    """Draw the speed over time; the dwell and the spacing shaded, and the rectangle that is read.

    The area under the curve while gate 1 is dark is the length. The rectangle over the same
    time, as high as the mean speed over the spacing, is what spacing and dwell read: what the
    curve has more than the rectangle is missing in the reading.
    """
    axes = axes or new_axes(7.0, 4.2)
    axes.plot(MS * curve.time, curve.speed, color=BLACK, linewidth=1.6)
    axes.set_xlabel("time since release / ms")
    axes.set_ylabel("speed / (m/s)")
    axes.set_ylim(0.0, 1.15 * float(curve.speed.max(initial=0.1)))
    axes.set_xlim(0.0, MS * float(curve.time[-1]))
    if np.isfinite(curve.leaves + curve.second):
        _areas(curve, axes, unit)
        room = AROUND * (max(curve.leaves, curve.second) - curve.enters)
        axes.set_xlim(MS * max(0.0, curve.enters - room), MS * (max(curve.leaves, curve.second) + room))
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=1, frameon=False, fontsize="small")
    axes.grid(alpha=0.3, linewidth=0.6)
    return axes


def _areas(curve: SpeedCurve, axes: "Axes", unit: LengthUnit) -> None:
    t, v = curve.within(curve.enters, curve.leaves)
    axes.fill_between(MS * t, v, color=SKY, alpha=0.45, linewidth=0.0,
                      label=f"gate 1 dark: area = length {unit.plain(curve.length)} {unit.name}")  # fmt: skip
    spacing = f"{unit.plain(curve.spacing)} {unit.name}"
    first, speed = curve.within(curve.enters, curve.second)
    axes.fill_between(MS * first, speed, color=BLUE, alpha=0.45, linewidth=0.0,
                      label=f"gate 1 to gate 2: area = spacing {spacing}")  # fmt: skip
    missing = curve.length - curve.rectangle
    axes.plot(MS * np.array([curve.enters, curve.enters, curve.leaves, curve.leaves]),
              [0.0, curve.early, curve.early, 0.0], color=VERMILION, linewidth=1.6, linestyle="--",
              label=f"what s T / t_s reads: {curve.early:.4g} m/s over the dwell = "
              f"{unit.plain(curve.rectangle)} {unit.name}")  # fmt: skip
    word = "missing" if missing > 0.0 else "too much"
    axes.fill_between(MS * t, v, curve.early, facecolor="none", edgecolor=ORANGE, hatch="///", linewidth=0.0,
                      label=f"{word}: {unit.plain(abs(missing), 3)} {unit.name} (net)")  # fmt: skip
