"""What a sweep shows over its grid, and how the axes of its quantities are written."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.studies.sweep import SweepResult, SweptQuantity
from gatesim.view.lengthunit import LengthUnit, restated
from gatesim.view.style import log_ticks
from gatesim.view.sweeptext import no_reading

if TYPE_CHECKING:
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
