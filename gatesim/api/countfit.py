"""A rig fitted to the log of its counts."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from gatesim.api.result import PicturedLengths
from gatesim.shopfloor.fit import result
from gatesim.shopfloor.fit.correction import best
from gatesim.shopfloor.fit.verdict import verdict
from gatesim.shopfloor.fit.write import write_fitted

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Fit(PicturedLengths, result.Fit):
    """Estimates with their uncertainty, whether the model describes the log, and what to correct.

    ``formula``: which one is saved as in charge; None: the one that reads best.
    """

    formula: str | None

    KEYS: ClassVar = {
        "sources": "log",
        "converged": "converged",
        "quantities": "quantities",
        "covariance": "covariance",
        "varies": "varies",
        "estimated_lengths": "lengths",
        "separability": "separability",
        "extras": "further_measurements",
        "verdict": "verdict",
        "adequacy": "adequacy",
        "residual": "residuals",
        "reads_best": "reads_best",
        "corrections": "corrections",
        "notes": "notes",
        "scenario": None,
        "options": None,
        "system": None,
        "rows": None,
        "minimum": None,
        "estimate": None,
        "lengths": None,
        "length_std": None,
        "formula": None,
        "odd": None,
    }

    @property
    def verdict(self) -> tuple[str, ...]:
        """What the fit is worth, in sentences, the gravest first."""
        return verdict(self)

    @property
    def reads_best(self) -> str | None:
        """The formula that leaves the least error on held-out rows; None if none can be corrected."""
        found = best(self)
        return None if found is None else found.formula

    def text(self, unit: str | None = None) -> str:
        """What the fit is worth, estimates, the tests, corrections."""
        from gatesim.view.fittext import fit_text
        from gatesim.view.lengthunit import unit_of

        return fit_text(self, self.formula, unit=None if unit is None else unit_of(unit))

    def plot(self, ax: "Axes | None" = None, unit: str | None = None) -> "Axes":
        """Residuals, one panel a register; ``ax`` gives the place of all. Returns the first panel.

        They are in standard uncertainties, whatever the unit of lengths.
        """
        from gatesim.view.residualchart import residual_panels

        return residual_panels(self, ax)[0]

    def quantity(self, name: str) -> Any:
        """Estimate of a fitted quantity, such as "path.friction", as a pint quantity. Raises KeyError."""
        from gatesim.ground.quantity import registry

        names = [parameter.name for parameter in self.forward.parameters]
        if name not in names:
            raise KeyError(f"{name!r} was not fitted, expected one of {', '.join(names)}")
        unit = self.scenario.inputs()[name].unit
        value = registry().Quantity(float(self.estimate[names.index(name)]), registry().Unit(unit))
        return value

    def save(self, path: Path | str) -> None:
        """Write the scenario with the fitted values, constants and covariance. Raises InputError."""
        write_fitted(self, Path(self.scenario.file), Path(path), self.formula, date.today())
