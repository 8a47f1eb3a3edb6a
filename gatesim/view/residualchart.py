"""Residuals of a fit, register by register, over time or in the order of the log."""

from typing import TYPE_CHECKING

import numpy as np

from gatesim.counter.counter import REGISTERS
from gatesim.shopfloor.fit.result import Fit
from gatesim.view.style import BLACK, BLUE, GREY, ORANGE, VERMILION, new_axes, panel_grid

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def residual_chart(result: Fit, register: int, ax: "Axes | None" = None) -> "Axes":
    """Residuals of one register in standard uncertainties; held-out and outlying rows marked.

    Rows off the scale sit at its edge.
    """
    ax = ax or new_axes(7.0, 3.0)
    rows = result.rows
    timed = bool(np.isfinite(rows.time[rows.usable]).all())
    at = (rows.time - np.nanmin(rows.time)) / 60.0 if timed else np.array(rows.log.lines, dtype=float)
    odd = result.odd.outliers | result.odd.suspects
    kinds = [
        ("fitted", rows.fitted & ~odd, "o", BLUE),
        ("held out", rows.held_out & ~odd, "s", ORANGE),
        ("set apart" if result.odd.outliers.any() else "suspect", odd, "X", VERMILION),
    ]
    values = result.residual[:, register]
    ordinary = np.abs(values[rows.usable & ~result.odd.outliers & np.isfinite(values)])
    top = 1.3 * max(3.0, float(ordinary.max(initial=0.0)))
    for label, which, marker, colour in kinds:
        own = which & np.isfinite(values)
        if own.any():
            # what lies off the scale is drawn at its edge, or one gross row would flatten the rest
            shown = np.clip(values[own], -0.96 * top, 0.96 * top)
            ax.plot(at[own], shown, marker, color=colour, markersize=4, label=label)
    ax.set_ylim(-top, top)
    ax.axhline(0.0, color=BLACK, linewidth=0.8)
    for level in (-2.0, 2.0):
        ax.axhline(level, color=GREY, linestyle="--", linewidth=0.8)
    ax.set(xlabel="time / min" if timed else "line of the log", ylabel="residual / u")
    ax.set_title(REGISTERS[register].replace("_", " "))
    return ax


def residual_panels(result: Fit, ax: "Axes | None" = None) -> "list[Axes]":
    """One panel a register that the log has; dashed lines at two standard uncertainties.

    ``ax`` gives its place to all of them.
    """
    logged = np.flatnonzero(np.isfinite(result.residual).any(axis=0))
    panels = list(panel_grid(len(logged), 1, (7.0, 0.6 + 2.2 * len(logged)), ax).ravel())
    for panel, register in zip(panels, logged, strict=True):
        residual_chart(result, int(register), panel)
        panel.label_outer()
    panels[0].legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), fontsize="x-small", ncols=3)
    return panels
