"""Table that a fit leaves in a scenario: where its values came from."""

import datetime
import math
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise

from pydantic import Field

from gatesim.ground.distribution import Normal
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Table

TOLERATED = 1e-4  # m: parts that are no further outside are like the references


class FittedTable(Table):
    """What a log said about the rig: where its values come from, and how they go together.

    Estimates and covariance are plain numbers in SI units, in the order of ``quantities``:
    first the unknowns, then the quantities that were known with a standard uncertainty and
    held the same in every passage. A name such as ``sensor.dark_delay@2`` is gate 2's own.
    The quantities are drawn with the correlations of the covariance, once a rig; values and
    distributions are those that the rest of the file states.
    """

    log: str = Field(description="Name of the log.")
    rows: int = Field(ge=1, description="Rows that the fit used.")
    held_out: int = Field(ge=0, description="Rows held out to judge the correction.")
    set_apart: int = Field(ge=0, description="Rows set apart as unreadable, unusable or outlying.")
    seed: int = Field(ge=0, description="Seed of the split and of the simulated scatter.")
    date: datetime.date = Field(description="Day of the fit.")
    holds: bool = Field(default=True, description="Whether estimates and uncertainties can be used.")
    verdict: str = Field(default="", description="What the fit is worth, in words.")
    references: tuple[float, ...] = Field(
        default=(), max_length=2, description="Shortest and longest reference part of the constants, m."
    )
    promised: float | None = Field(
        default=None, gt=0.0, description="Standard uncertainty of a reading between them, m."
    )
    beyond: tuple[tuple[float, float], ...] = Field(
        default=(), description="Lengths outside them and the standard uncertainty of a reading there, m."
    )
    unknowns: tuple[str, ...] = Field(min_length=1, description="Quantities fitted without prior knowledge.")
    varies: tuple[str, ...] = Field(default=(), description="Quantities taken to vary between passages.")
    quantities: tuple[str, ...] = Field(min_length=1, description="Quantities of the covariance, in order.")
    estimates: tuple[float, ...] = Field(description="Joint estimates in SI units.")
    covariance: tuple[tuple[float, ...], ...] = Field(description="Their covariance matrix in SI units.")

    @property
    def warning(self) -> str:
        """What every result from the fitted values must repeat; empty where the fit holds."""
        return "" if self.holds else f"The rig's values were fitted to {self.log}. {self.verdict}"

    def outside(self, length: float) -> str:
        """What the constants are worth at a length (m) that no reference part has; else empty."""
        if len(self.references) < 2 or self.promised is None:
            return ""
        low, high = self.references
        away = max(low - length, length - high)
        if not away > TOLERATED:
            return ""
        span = f"{1e3 * low:.6g} to {1e3 * high:.6g} mm"
        where = f"{1e3 * length:.6g} mm is {1e3 * away:.3g} mm beyond"
        said = f"The constants rest on reference parts of {span}; {where}"
        there = self._uncertainty(length)
        if there is None:
            return f"{said}, further than the fit can tell: expect several times the promised uncertainty."
        return (
            f"{said}: the standard uncertainty of a reading is about {1e3 * there:.2g} mm there, "
            f"{there / self.promised:.2g} times the promised {1e3 * self.promised:.2g} mm."
        )

    def _uncertainty(self, length: float) -> float | None:
        """By linear interpolation between the lengths tried; None outside them."""
        points = sorted([*self.beyond, *((end, self.promised or 0.0) for end in self.references)])
        for (a, u), (b, v) in pairwise(points):
            if a <= length <= b:
                return u + (v - u) * (length - a) / (b - a) if b > a else v
        return None


def fit_warning(fitted: FittedTable | None, *lengths: float) -> tuple[str, ...]:
    """What results for parts of these lengths (m) must repeat of a fit: no sentence, or some."""
    if fitted is None:
        return ()
    said = [fitted.warning, *(fitted.outside(length) for length in lengths)]
    return tuple(dict.fromkeys(sentence for sentence in said if sentence))


def names_of(quantity: str, inputs: Mapping[str, Quantity]) -> list[str]:
    """Inputs that a fitted quantity stands for: itself, or one a gate where all gates share it."""
    return [name for name in inputs if quantity in (name, name.partition("@")[0])]


def as_fitted(fitted: FittedTable, inputs: Mapping[str, Quantity]) -> dict[str, Quantity]:
    """Inputs as a fit knows them: what it held the same is the rig's own, what it took to vary is not.

    What is a gate's own has the fit's standard uncertainty where that is less than the file's.
    """
    found = dict(inputs)
    for number, fitted_name in enumerate(fitted.quantities):
        std = math.sqrt(fitted.covariance[number][number])
        for name in names_of(fitted_name, inputs):
            quantity = found[name]
            if quantity.spread is None:
                continue
            narrower = "@" in fitted_name and 0.0 < std < quantity.std
            spread = Normal(std) if narrower else quantity.spread
            found[name] = replace(quantity, spread=spread, per="rig")
    for name in fitted.varies:
        if name in found and found[name].spread is not None:
            found[name] = replace(found[name], per="passage")
    return found
