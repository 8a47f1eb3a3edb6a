"""What the controller's programmer needs."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import ClassVar, Literal

from gatesim.api.given import Given, positive, span
from gatesim.api.result import Result, at_work
from gatesim.formula import FORMULAS
from gatesim.formula.integer.program import DINT, LINT
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.shopfloor import handover as handed


@dataclass(frozen=True, repr=False)
class Handover(Result, handed.Handover):
    """The integer form with its proof, test vectors, and what belongs on the commissioning sheet."""

    UNITS: ClassVar = {"guard": "m", "measured_error": "m"}

    def __str__(self) -> str:
        from gatesim.view.package import proof_text

        return proof_text(self)

    def files(self) -> dict[str, bytes]:
        """The files that are handed over, by name."""
        from gatesim.view.package import package

        return package(self)

    def save(self, directory: Path | str) -> list[Path]:
        """Write the files into a new directory, all or none. Raises InputError."""
        from gatesim.view.package import write_package

        target = Path(directory)
        return [target / name for name in write_package(self, target)]


@at_work("proving and simulating")
def handover(
    scenario: Scenario,
    *,
    formula: str | None = None,
    lengths: Sequence[Given] | None = None,
    speeds: Sequence[Given] | None = None,
    step: Given = 1e-6,
    widest: Literal["DINT", "LINT"] = "LINT",
    uncertainty: Given | None = None,
    guard: float = 2.0,
) -> Handover:
    """The formula in integer arithmetic proved free of overflow, test vectors, commissioning sheet.

    ``lengths``, ``speeds``: least and greatest stated (m, m/s, text or pint); left out, from the
    scenario and simulated. ``step``: length that one count of the
    result stands for (m). ``widest`` integer type of the
    controller. ``uncertainty``: standard uncertainty of a reading as qualified; ``guard``: guard
    band in standard uncertainties. Raises InputError.
    """
    if formula is not None and formula not in FORMULAS:
        raise InputError(f"--formula: given {formula!r}, expected one of {', '.join(FORMULAS)}")
    options = handed.HandoverOptions(
        formula=formula,
        lengths=span(lengths, "m", "lengths"),
        speeds=span(speeds, "m/s", "speeds"),
        unit=positive(step, "m", "step"),
        widest=DINT if widest == "DINT" else LINT,
        std=None if uncertainty is None else positive(uncertainty, "m", "uncertainty"),
        guard_factor=guard,
    )
    return Handover.of(handed.gather(scenario, options, date.today()))
