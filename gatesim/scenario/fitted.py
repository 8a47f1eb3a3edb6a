"""Table that a fit leaves in a scenario: where its values came from."""

import datetime
import math
from collections.abc import Mapping
from dataclasses import replace

from pydantic import Field

from gatesim.ground.distribution import Normal
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Table


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
    unknowns: tuple[str, ...] = Field(min_length=1, description="Quantities fitted without prior knowledge.")
    varies: tuple[str, ...] = Field(default=(), description="Quantities taken to vary between passages.")
    quantities: tuple[str, ...] = Field(min_length=1, description="Quantities of the covariance, in order.")
    estimates: tuple[float, ...] = Field(description="Joint estimates in SI units.")
    covariance: tuple[tuple[float, ...], ...] = Field(description="Their covariance matrix in SI units.")

    @property
    def warning(self) -> str:
        """What every result from the fitted values must repeat; empty where the fit holds."""
        return "" if self.holds else f"The rig's values were fitted to {self.log}. {self.verdict}"


def fit_warning(fitted: FittedTable | None) -> tuple[str, ...]:
    """The warning of a scenario's table as one sentence or none."""
    return (fitted.warning,) if fitted is not None and fitted.warning else ()


def as_fitted(fitted: FittedTable, inputs: Mapping[str, Quantity]) -> dict[str, Quantity]:
    """Inputs as a fit knows them: what it held the same is the rig's own, what it took to vary is not.

    What is a gate's own has the fit's standard uncertainty where that is less than the file's.
    """
    found = dict(inputs)
    for number, name in enumerate(fitted.quantities):
        quantity, std = found.get(name), math.sqrt(fitted.covariance[number][number])
        if quantity is None or quantity.spread is None:
            continue
        narrower = "@" in name and 0.0 < std < quantity.std
        spread = Normal(std) if narrower else quantity.spread
        found[name] = replace(quantity, spread=spread, per="rig")
    for name in fitted.varies:
        if name in found and found[name].spread is not None:
            found[name] = replace(found[name], per="passage")
    return found
