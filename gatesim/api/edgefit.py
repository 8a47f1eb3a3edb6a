"""A rig fitted to a record of its edges."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, Literal

from gatesim.api.countfit import Fit
from gatesim.api.edges import recorded
from gatesim.api.given import Given, positive
from gatesim.api.result import PicturedLengths
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.shopfloor.edges import fit as fitted
from gatesim.shopfloor.edges.write import write_edge_fit
from gatesim.shopfloor.fit.result import FitOptions

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class EdgeFit(PicturedLengths, fitted.EdgeFit):
    """Motion, delays and noise from the passages of a record of edges."""

    KEYS: ClassVar = {
        "file": "file",
        "channels": "channels",
        "passages": "passages",
        "noise": "",
        "fit": "motion",
        "scenario": None,
        "record": None,
        "asked": None,
        "motion": None,
    }

    @property
    def file(self) -> str:
        """The record."""
        return self.record.file

    @property
    def channels(self) -> dict[str, str]:
        """Channel of each gate."""
        return {str(gate): name for gate, name in self.record.channels.items()}

    @property
    def passages(self) -> int:
        """How many passages the record has."""
        return len(self.record.passages)

    @property
    def fit(self) -> Fit | None:
        """The fit of the motion, as `gatesim.fit` has it for a log of counts."""
        return None if self.motion is None else Fit.of(self.motion, formula=None)

    def text(self, unit: str | None = None) -> str:
        """Noise, then the motion, then what cannot be told."""
        from gatesim.view.edgefittext import edge_fit_text
        from gatesim.view.lengthunit import unit_of

        return edge_fit_text(self, None if unit is None else unit_of(unit))

    def plot(self, ax: "Axes | None" = None, unit: str | None = None) -> "Axes":
        """Residuals of the motion, in standard uncertainties. Raises InputError where none was fitted."""
        from gatesim.view.residualchart import residual_panels

        if self.motion is None:
            raise InputError(
                "--figure: nothing to draw, expected an --unknown of the motion such as path.friction"
            )
        return residual_panels(self.motion, ax)[0]

    def quantity(self, name: str) -> Any:
        """Estimate of a quantity that was asked for, as a pint quantity. Raises KeyError."""
        from gatesim.ground.quantity import registry

        if name == "sensor.jitter" and self.noise.jitter is not None:
            return registry().Quantity(self.noise.jitter.jitter.value, "s")
        if (found := self.fit) is None:
            raise KeyError(f"{name!r} was not fitted")
        return found.quantity(name)

    def save(self, path: Path | str) -> None:
        """Write the scenario with all that was asked for and told. Raises InputError."""
        write_edge_fit(self, Path(self.scenario.file), Path(path), date.today())


def fit_to_edges(
    scenario: Scenario,
    file: Path | str,
    options: FitOptions,
    *,
    gate: Mapping[int, str] | Sequence[str],
    filtered: Mapping[int, str] | Sequence[str],
    dark: Literal["high", "low"],
    quiet: Given,
    reference: Given | None,
) -> EdgeFit:
    """See `gatesim.fit`. Raises InputError."""
    record = recorded(file, gate, dark, quiet)
    behind = recorded(file, filtered, dark, quiet, "filtered").passages if filtered else None
    length = None if reference is None else positive(reference, "m", "reference")
    return EdgeFit.of(fitted.fit_edges(scenario, record, behind, length, options))
