"""A rig drawn to scale, at its true slope."""

from typing import TYPE_CHECKING, Any

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.view.riggeometry import RigGeometry
from gatesim.view.style import BLACK, BLUE, GREY, ORANGE, SKY, VERMILION, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MM = 1e3


def rig_drawing(rig: RigGeometry, travel: float = 0.0, axes: "Axes | None" = None) -> "Axes":
    """Draw path, gates, magnets, spring and belt, and the part after ``travel`` (m); axes in mm, to scale."""
    axes = axes or new_axes(7.0, 4.6)
    across = rig.height
    below = -0.5 * across
    _line(rig, axes, [(-rig.length, below), (rig.end, below)], color=BLACK, linewidth=1.2)
    if rig.belt is not None:
        for depth in (below, below - 0.6 * across):
            _line(rig, axes, [(rig.belt, depth), (rig.end, depth)], color=GREY, linewidth=2.5)
        _text(rig, axes, 0.5 * (rig.belt + rig.end), below - 1.4 * across, "belt")
    if rig.brake is not None:
        start, end = rig.brake
        for side in (0.75 * across, -1.5 * across):
            _box(
                rig, axes, start, end, side, 0.75 * across, facecolor="white", edgecolor=VERMILION, hatch="xx"
            )
        _text(rig, axes, 0.5 * (start + end), 2.0 * across, "magnets")
    if rig.spring is not None:
        _spring(rig, axes, across)
    _box(rig, axes, travel - rig.length, travel, below, across, facecolor=SKY, edgecolor=BLACK)
    reach = max(2.2 * across, 0.04 * rig.end)
    for number, gate in enumerate(rig.gates, start=1):
        _line(rig, axes, [(gate, -reach), (gate, reach)], color=BLUE, linewidth=1.4, linestyle="--")
        _text(rig, axes, gate, 1.25 * reach, f"{number}")
    axes.set_aspect("equal")
    axes.set_xlabel("across / mm")
    axes.set_ylabel("up / mm")
    axes.margins(0.04)
    return axes


def _place(rig: RigGeometry, points: Array) -> Array:
    """Along and across (k, 2) in m to right and up in mm."""
    cos, sin = np.cos(rig.slope), np.sin(rig.slope)
    along, across = np.asarray(points, float).T
    return MM * np.column_stack([along * cos + across * sin, across * cos - along * sin])


def _line(rig: RigGeometry, axes: "Axes", points: list[tuple[float, float]], **style: Any) -> None:
    x, y = _place(rig, np.array(points)).T
    axes.plot(x, y, **style)


def _box(
    rig: RigGeometry, axes: "Axes", start: float, end: float, low: float, height: float, **style: Any
) -> None:
    corners = [(start, low), (end, low), (end, low + height), (start, low + height)]
    x, y = _place(rig, np.array(corners)).T
    axes.fill(x, y, linewidth=1.0, **style)


def _text(rig: RigGeometry, axes: "Axes", along: float, across: float, text: str) -> None:
    x, y = _place(rig, np.array([(along, across)]))[0]
    axes.text(x, y, text, ha="center", va="center", fontsize="small")


def _spring(rig: RigGeometry, axes: "Axes", across: float) -> None:
    """A zigzag behind the part at release, as long as it is drawn back, and where it lets go."""
    stretch = rig.spring or 0.0
    turns = np.linspace(-rig.length - stretch, -rig.length, 17)
    zigzag = 0.35 * across * np.where(np.arange(17) % 2 == 0, -1.0, 1.0)
    _line(rig, axes, list(zip(turns, zigzag, strict=True)), color=ORANGE, linewidth=1.4)
    _text(rig, axes, -rig.length - 0.5 * stretch, 1.2 * across, "spring")
