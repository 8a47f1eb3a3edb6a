"""Table that a fit leaves in a scenario: where its values came from."""

import datetime

from pydantic import Field

from gatesim.ground.table import Table


class FittedTable(Table):
    """What a log said about the rig: provenance and covariance. It is not calculated with.

    Estimates and covariance are plain numbers in SI units, in the order of ``quantities``:
    first the unknowns, then the quantities that were known with a standard uncertainty and
    held the same in every passage. A name such as ``sensor.dark_delay@2`` is gate 2's own.
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
