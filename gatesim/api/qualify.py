"""Capability of a gauge from the log of its readings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from gatesim.api.given import Given, length, not_negative, renamed
from gatesim.api.result import PicturedLengths, at_work
from gatesim.formula import FORMULAS
from gatesim.ground.arrays import Array
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.scenario.fitted import fit_warning
from gatesim.shopfloor import qualification as qualified
from gatesim.shopfloor.log import Log, read_log
from gatesim.shopfloor.reading import formula_in_charge, lengths_from_counts
from gatesim.shopfloor.resolution import count_step, step_of
from gatesim.studies.convention import CONVENTIONS

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Qualification(PicturedLengths, qualified.Qualification):
    """All studies that the log allows, and what follows for accepting and rejecting parts."""

    UNITS: ClassVar = {"uncertainty": "m"}

    @property
    def uncertainty(self) -> float:
        """Combined standard uncertainty of a reading, m."""
        return self.combined.std

    def text(self, unit: str | None = None) -> str:
        """The conclusion, then all studies, one block each."""
        from gatesim.view.lengthunit import unit_of
        from gatesim.view.qualifytext import qualification_text

        return qualification_text(self, unit_of(unit))

    def plot(self, ax: "Axes | None" = None, unit: str | None = None) -> "Axes":
        """One panel a study; ``ax`` gives the place of all. Returns the first panel."""
        from gatesim.view.lengthunit import unit_of
        from gatesim.view.qualifychart import qualification_panels

        return qualification_panels(self, ax, unit_of(unit))[0]


@at_work("qualifying")
def qualify(
    log: Log | Path | str,
    *,
    lower: Given | None = None,
    upper: Given | None = None,
    rig: Scenario | None = None,
    formula: str | None = None,
    convention: str = "iso",
    guard: float = 2.0,
    reference_uncertainty: Given = 0.0,
    resolution: Given | None = None,
    column: Mapping[str, str] | Sequence[str] = (),
) -> Qualification:
    """Type-1 and linearity studies, repeatability and reproducibility, decision limits and risks.

    ``lower``, ``upper``: tolerance limits (m, text or pint), else those of ``rig``, the scenario
    whose ``formula`` makes lengths of logged counts. ``convention``: "iso" or "msa". ``guard``:
    guard band in standard uncertainties. ``reference_uncertainty``: standard uncertainty of the
    reference lengths. ``resolution``: step of the readings, else as the log writes them or one
    count of the rig. ``column`` renames headers of the log. Raises InputError.
    """
    low, high = _limits(lower, upper, rig)
    std = not_negative(reference_uncertainty, "reference-uncertainty")
    found, lengths, step = _read(log, rig, formula, renamed(column))
    if resolution is not None:
        step = not_negative(resolution, "resolution")
    demand = qualified.Demand(low, high, CONVENTIONS[convention], guard, std, step)
    warnings = () if rig is None else fit_warning(rig.fitted, low, high)
    return Qualification.of(qualified.qualify(found, lengths, demand, warnings))


def _limits(lower: Given | None, upper: Given | None, rig: Scenario | None) -> tuple[float, float]:
    """Tolerance limits in m, as given or else from the rig's requirement."""
    found = {}
    for key, value in (("lower", lower), ("upper", upper)):
        if value is not None:
            found[key] = length(value, key)
        elif rig is not None and (limit := getattr(rig.requirement, f"{key}_limit")) is not None:
            found[key] = limit.nominal
        else:
            raise InputError(f'--{key}: given nothing, expected a tolerance limit such as "180 mm"')
    if found["lower"] >= found["upper"]:
        raise InputError(
            f"--lower: given {1e3 * found['lower']:g} mm, expected a length below the upper limit, "
            f"{1e3 * found['upper']:g} mm"
        )
    return found["lower"], found["upper"]


def _read(
    log: Log | Path | str, rig: Scenario | None, formula: str | None, mapping: dict[str, str]
) -> tuple[Log, Array, float]:
    """The log, its lengths in m and the step in which they come."""
    if rig is None:
        if formula is not None:
            raise InputError("--formula: given without --rig, expected the scenario that has its constants")
        found = log if isinstance(log, Log) else read_log(log, need=("length",), mapping=mapping)
        return found, found.numbers["length"], step_of(found)
    name = formula_in_charge(rig, formula)
    need = FORMULAS[name].registers
    found = log if isinstance(log, Log) else read_log(log, need=need, mapping=mapping)
    return found, lengths_from_counts(found, rig, name), count_step(found, rig, name)
