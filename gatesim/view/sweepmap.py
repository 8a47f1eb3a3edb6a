"""Map of a sweep over two quantities."""

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.studies.sweep import SweepResult
from gatesim.view.lengthunit import LengthUnit, unit_of
from gatesim.view.style import HEAT_MAP
from gatesim.view.sweepshown import Shown, axis_values, missing, scaled, span

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.path import Path

RESOLVED = 2.0
"""Cells that a line must span in one direction at least: less is not resolved by the grid."""


def sweep_map(
    result: SweepResult,
    formula: str,
    show: str,
    drawn: Shown,
    axes: "Axes",
    unit: LengthUnit | None,
    allowed: Array,
) -> "Axes":
    """Draw a cell a point as it was found, lines of equal value, and what is not allowed hatched.

    A single cell that differs from all about it (a scan in step with the dwell, say) keeps its
    colour but gets no line around it, since nothing is known between the points. Nothing is smoothed.
    """
    from matplotlib.colors import LogNorm

    sides = [axis_values(axis, unit) for axis in result.axes]
    scaled(axes.xaxis, result.axes[0], unit)
    scaled(axes.yaxis, result.axes[1], unit)
    read = drawn.value[np.isfinite(drawn.value)]
    blank, why = missing(result, drawn.value)
    levels, wide = _levels(read) if read.size else (read, False)
    mesh = axes.pcolormesh(*sides, drawn.value.T, cmap=HEAT_MAP, shading="nearest",
                           norm=LogNorm() if wide else None)  # fmt: skip
    notes = []
    if blank.all():
        axes.text(0.5, 0.5, why, transform=axes.transAxes, ha="center", va="center")
    elif blank.any():
        axes.set_facecolor("0.85")
        notes.append(f"grey: {why}")
    if not read.size:
        return axes
    axes.figure.colorbar(mesh, ax=axes, label=drawn.label, format="%g")
    if min(drawn.value.shape) > 1:
        name = "%" if show == "yield" else (unit or unit_of(None)).name
        _lines(axes, sides, drawn.value, levels, name)
        notes += _beyond(axes, sides, result.formulas[formula], allowed, mesh) if show != "yield" else []
    axes.set_xlim(span(sides[0], result.axes[0].logarithmic))
    axes.set_ylim(span(sides[1], result.axes[1].logarithmic))
    axes.set_title("\n".join([axes.get_title(), *notes]), fontsize="medium")
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


def _lines(axes: "Axes", sides: list[Array], value: Array, levels: Array, name: str) -> None:
    from matplotlib.patheffects import withStroke

    if not levels.size:
        return
    lines = axes.contour(*sides, value.T, levels, colors="black", linewidths=1.0, linestyles="solid")
    lines.set_paths([resolved(path, sides) for path in lines.get_paths()])
    # a white rim: the lines are read on dark and on light ground alike
    lines.set_path_effects([withStroke(linewidth=2.6, foreground="white")])
    for text in axes.clabel(lines, fmt=lambda v: f"{v:.4g} {name}", fontsize="small"):
        text.set_path_effects([withStroke(linewidth=3.0, foreground="white")])


def resolved(path: "Path", sides: list[Array]) -> "Path":
    """The pieces of a line that span more than `RESOLVED` cells of the grid."""
    from matplotlib.path import Path

    kept = [piece for piece in _pieces(path) if _cells(piece, sides) > RESOLVED]
    return Path.make_compound_path(*kept) if kept else Path(np.zeros((0, 2)))


def _pieces(path: "Path") -> "list[Path]":
    from matplotlib.path import Path

    points = np.asarray(path.vertices, dtype=float)
    if not points.size:
        return []
    starts = np.zeros(1, np.int64)
    if path.codes is not None:
        starts = np.flatnonzero(np.asarray(path.codes) == Path.MOVETO)
    ends = [*starts[1:], len(points)]
    return [Path(points[a:b]) for a, b in zip(starts, ends, strict=True)]


def _cells(piece: "Path", sides: list[Array]) -> float:
    """How many cells it spans, in the direction where it spans most."""
    vertices: Any = piece.vertices
    return max(
        float(np.ptp(np.interp(vertices[:, k], values, np.arange(values.size))))
        if values[0] < values[-1]
        else float(np.ptp(np.interp(-vertices[:, k], -values, np.arange(values.size))))
        for k, values in enumerate(sides)
    )


def _beyond(axes: "Axes", sides: list[Array], table: Any, allowed: Array, mesh: Any) -> list[str]:
    """Hatch the cells where bias and twice the standard uncertainty are more than is allowed."""
    reach = np.abs(table["bias"]) + 2.0 * table["uncertainty"]
    if np.isnan(allowed).all():
        return []
    fails = reach > allowed
    if not fails.any():
        return ["all that is read is within what the requirement allows"]
    lightness = mesh.norm(np.nan_to_num(mesh.get_array(), nan=1.0)).reshape(fails.T.shape).T
    for some, colour in ((fails & (lightness < 0.5), "white"), (fails & ~(lightness < 0.5), "black")):
        _hatch(axes, [_borders(side) for side in sides], some, colour)
    return ["hatched: bias and 2 u beyond what the requirement allows"]


def _borders(values: Array) -> Array:
    """Borders of the cells (k+1,) about the values (k,), halfway between them."""
    middle = 0.5 * (values[1:] + values[:-1])
    return np.concatenate([[2.0 * values[0] - middle[0]], middle, [2.0 * values[-1] - middle[-1]]])


def _hatch(axes: "Axes", borders: list[Array], cells: NDArray[np.bool_], colour: str) -> None:
    """Hatch whole cells, as they are coloured: a line between them would claim more than is known."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    x, y = borders
    corners = [
        Path([(x[i], y[j]), (x[i + 1], y[j]), (x[i + 1], y[j + 1]), (x[i], y[j + 1]), (x[i], y[j])])
        for i, j in np.argwhere(cells)
    ]
    if corners:
        path = Path.make_compound_path(*corners)
        axes.add_patch(PathPatch(path, facecolor="none", edgecolor=colour, hatch="//", linewidth=0.0))
