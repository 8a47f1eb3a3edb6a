"""Error of the nominal reading against any quantity of a rig."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gatesim.chain import pipeline
from gatesim.ground.arrays import Array
from gatesim.ground.draw import Nominal
from gatesim.scenario.model import Scenario
from gatesim.studies.rig import RigModel
from gatesim.studies.sweep import SweptQuantity
from gatesim.view.style import BLACK, BLUE, GREEN, ORANGE, SKY, VERMILION, log_ticks, new_axes
from gatesim.view.sweepshown import axis_label

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MM = 1e3
LINES = ((BLUE, "-"), (VERMILION, "--"), (GREEN, "-."), (ORANGE, ":"), (BLACK, "-"), (SKY, "--"))


@dataclass(frozen=True)
class ErrorCurve:
    """Error in m of each formula (k,) over the k values of an axis; NaN where there is no reading."""

    axis: SweptQuantity
    errors: Mapping[str, Array]


def error_curve(
    scenario: Scenario, axis: SweptQuantity, formulas: Sequence[str] | None = None, *, quantised: bool = False
) -> ErrorCurve:
    """Error of the nominal reading while one quantity of the scenario is changed; the controller knows.

    ``quantised`` off shows the mean over the chance of the counts. Raises InputError.
    """
    rig, rows = RigModel(scenario), []
    for value in axis.values:
        found = rig.with_values({axis.path: axis.unit}, {axis.path: float(value)})
        passed = pipeline.run(found.scenario, Nominal(1), quantised=quantised)
        rows.append({name: float((r - passed.true_length)[0]) for name, r in passed.readings.items()})
    names = list(rows[0]) if formulas is None else list(formulas)
    return ErrorCurve(axis, {name: np.array([row.get(name, np.nan) for row in rows]) for name in names})


def error_chart(curve: ErrorCurve, axes: "Axes | None" = None) -> "Axes":
    """Draw the error of each formula over the quantity; below zero reads short."""
    axes = axes or new_axes(6.6, 4.4)
    for number, (name, error) in enumerate(curve.errors.items()):
        colour, dash = LINES[number % len(LINES)]
        axes.plot(curve.axis.values, MM * error, color=colour, linestyle=dash, linewidth=1.6, label=name)
    axes.axhline(0.0, color=BLACK, linewidth=0.8)
    axes.set_xlabel(axis_label(curve.axis))
    if curve.axis.logarithmic:
        log_ticks(axes.xaxis, float(curve.axis.values.min()), float(curve.axis.values.max()))
    axes.set_ylabel("reading less true length / mm")
    axes.grid(alpha=0.3, linewidth=0.6)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=3, frameon=False, fontsize="small")
    return axes
