"""What a fit is asked, and what it finds."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gatesim.formula import Constants
from gatesim.ground.arrays import Array
from gatesim.scenario import Scenario
from gatesim.shopfloor.fit.adequacy import Adequacy
from gatesim.shopfloor.fit.forward import Forward
from gatesim.shopfloor.fit.leastsquares import Minimum
from gatesim.shopfloor.fit.outliers import Outlying
from gatesim.shopfloor.fit.rows import Cells, Rows
from gatesim.shopfloor.fit.separate import Extra, Separability
from gatesim.shopfloor.fit.system import System
from gatesim.shopfloor.log import BadRow

DRAWS = 2000  # simulated passages a length: covariance to some 3 %, standard uncertainties to half that


@dataclass(frozen=True)
class FitOptions:
    """What is asked of a fit.

    ``unknown``, ``varies`` and ``trends`` are paths of the scenario, the last of quantities
    that change steadily over the log; ``reference_uncertainty`` the standard uncertainty of the reference
    lengths (m); ``held_out`` a share of the reference rows; ``seed`` of the split and of the
    simulated scatter.
    """

    unknown: Sequence[str]
    varies: Sequence[str] = ()
    reference_uncertainty: float = 0.0
    held_out: float = 0.25
    seed: int = 1
    mass_follows: bool = False
    draws: int = DRAWS
    trends: Sequence[str] = ()


@dataclass(frozen=True)
class Errors:
    """Errors of a formula on reference rows (m): ``count`` of them, mean, its standard uncertainty, spread.

    ``std`` is the standard deviation of single errors, ``worst`` the one farthest from zero,
    ``uncertainty`` the standard uncertainty of a reading: spread, that of the mean and that
    of the reference parts together.
    """

    count: int
    bias: float
    bias_std: float
    std: float
    worst: float
    uncertainty: float


@dataclass(frozen=True)
class Correction:
    """A formula with the constants to put in; ``line_std`` of gain and zero, NaN where not fitted.

    ``references`` (m): shortest and longest reference the line rests on. ``before`` and
    ``after``: errors on held-out rows with the scenario's constants and with these; None
    without at least two held-out rows. ``beyond``: lengths outside the references (m) and the
    standard uncertainty of a reading there (m), by length.
    """

    formula: str
    constants: Constants
    line_std: tuple[float, float]
    references: tuple[float, float]
    before: Errors | None
    after: Errors | None
    beyond: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class SetApart:
    """A line of the log that the fit did not use, and why."""

    line: int
    reason: str


@dataclass(frozen=True)
class Sources:
    """The rows of a log and what became of them."""

    file: str
    rows: int
    fitted: int
    held_out: int
    set_apart: tuple[SetApart, ...]
    columns_not_used: tuple[str, ...]


@dataclass(frozen=True)
class Fitted:
    """One quantity, SI: value and standard uncertainty in the scenario, and after the fit."""

    name: str
    unknown: bool
    scenario: float
    prior_standard_uncertainty: float
    estimate: float
    standard_uncertainty: float


@dataclass(frozen=True)
class FittedLength:
    """Length of a part, m; ``reference`` is NaN where it was not known."""

    reference: float
    length: float
    standard_uncertainty: float


@dataclass(frozen=True)
class Fit:
    """A rig fitted to a log; SI throughout.

    ``estimate`` (k,) and ``covariance`` (k, k) of ``forward.parameters``, unknowns first;
    ``minimum`` is where the search ended. ``lengths`` (g,) with ``length_std``, 0 for an exact
    reference. ``residual`` (n, 4) counts less expectation, in standard uncertainties of a single
    register, NaN where not logged; ``odd`` says which rows do not belong. ``extras`` are
    further measurements, ``corrections`` one a formula.
    """

    scenario: Scenario
    options: FitOptions
    system: System
    rows: Rows
    minimum: Minimum
    estimate: Array
    covariance: Array
    lengths: Array
    length_std: Array
    residual: Array
    odd: Outlying
    adequacy: Adequacy
    separability: Separability
    extras: tuple[Extra, ...]
    corrections: tuple[Correction, ...]
    notes: tuple[str, ...]

    @property
    def sources(self) -> Sources:
        """What the fit rests on."""
        log = self.rows.log
        fitted, apart = (
            int(self.cells.count.sum()),
            tuple(SetApart(bad.line, bad.reason) for bad in self.apart),
        )
        return Sources(log.path, len(log), fitted, self.held_out, apart, log.ignored)

    @property
    def converged(self) -> bool:
        """Whether the search ended at a minimum."""
        return self.minimum.converged

    @property
    def varies(self) -> tuple[str, ...]:
        """What was taken to vary from passage to passage."""
        return self.forward.varies

    @property
    def quantities(self) -> list[Fitted]:
        """Every fitted quantity, the unknowns first."""
        found = zip(self.forward.parameters, self.estimate, self.std, strict=True)
        return [Fitted(p.name, p.unknown, p.nominal, p.prior, float(x), float(u)) for p, x, u in found]

    @property
    def estimated_lengths(self) -> list[FittedLength]:
        """Every length of a part."""
        found = zip(self.rows.known, self.lengths, self.length_std, strict=True)
        return [FittedLength(float(known), float(x), float(u)) for known, x, u in found]

    @property
    def forward(self) -> Forward:
        """The model that was fitted."""
        return self.system.forward

    @property
    def held_out(self) -> int:
        """How many rows were held out and belong."""
        return int((self.rows.held_out & ~self.odd.outliers).sum())

    @property
    def cells(self) -> Cells:
        """The rows that were fitted, gathered."""
        return self.system.cells

    @property
    def std(self) -> Array:
        """Standard uncertainties (k,); infinite for what the log does not determine."""
        std: Array = np.sqrt(np.diag(self.covariance))
        return std

    @property
    def apart(self) -> tuple[BadRow, ...]:
        """Every row set apart, held-out ones that belong excepted, by line."""
        scatter = "their own scatter" if self.odd.own else "scatter"
        why = f"it is further from the rows like it than {scatter} explains"
        lines = [BadRow(self.rows.log.lines[row], why, "") for row in np.flatnonzero(self.odd.outliers)]
        return tuple(sorted([*self.rows.log.bad, *self.rows.apart, *lines], key=lambda bad: bad.line))
