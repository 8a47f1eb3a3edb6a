"""A rig fitted to the log of its counts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, Literal

from gatesim.api.edgefit import EdgeFit, fit_to_edges
from gatesim.api.given import Given, not_negative, renamed
from gatesim.api.result import PicturedLengths, at_work
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.shopfloor.edgetimes import is_record
from gatesim.shopfloor.fit import fit as fitted
from gatesim.shopfloor.fit import result
from gatesim.shopfloor.fit.correction import best, correction_of
from gatesim.shopfloor.fit.result import FitOptions
from gatesim.shopfloor.fit.verdict import verdict
from gatesim.shopfloor.fit.write import write_fitted
from gatesim.shopfloor.log import Log, read_log

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


@at_work("fitting")
def fit(
    scenario: Scenario,
    log: Log | Path | str,
    unknown: str | Sequence[str],
    *,
    varies: str | Sequence[str] = (),
    trend: str | Sequence[str] = (),
    formula: str | None = None,
    reference_uncertainty: Given = 0.0,
    mass_follows_length: bool = False,
    held_out: float = 0.25,
    seed: int = 1,
    column: Mapping[str, str] | Sequence[str] = (),
    gate: Mapping[int, str] | Sequence[str] = (),
    filtered: Mapping[int, str] | Sequence[str] = (),
    dark: Literal["high", "low"] = "high",
    quiet: Given = 0.1,
    reference: Given | None = None,
) -> "Fit | EdgeFit":
    """Estimate ``unknown`` quantities of a rig, such as "path.friction", from a log of its counts.

    ``log`` may be a record of edge times, as `gatesim.edges` takes it, with its keywords; then
    "sensor.jitter", "sensor.chatter" and "filter" may be unknown, too. ``filtered``: channel of each gate
    behind the input filter; ``reference``: the length of the part in all passages.

    ``varies``: quantities whose spread is from passage to passage, ``trend``: fitted ones that change
    steadily over the log. ``reference_uncertainty``:
    standard uncertainty of each reference length (m, text or pint). ``held_out``: share of the
    reference rows that only judges the correction. ``column`` renames headers of the log:
    {"N1": "dwell [1]"}. Raises InputError.
    """
    options = FitOptions(
        (unknown,) if isinstance(unknown, str) else tuple(unknown),
        (varies,) if isinstance(varies, str) else tuple(varies),
        not_negative(reference_uncertainty, "reference-uncertainty"),
        held_out,
        seed,
        mass_follows_length,
        trends=(trend,) if isinstance(trend, str) else tuple(trend),
    )
    if not isinstance(log, Log) and (gate or filtered or is_record(Path(log))):
        return fit_to_edges(
            scenario, log, options, gate=gate, filtered=filtered, dark=dark, quiet=quiet, reference=reference
        )
    if reference is not None:
        raise InputError(
            '--reference: given for a log of counts, expected its column "reference [mm]" instead'
        )
    rows = log if isinstance(log, Log) else read_log(log, mapping=renamed(column))
    found = fitted.fit(scenario, rows, options)
    correction_of(found, formula)
    return Fit.of(found, formula=formula)
