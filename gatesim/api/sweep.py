"""A study at every point of a range."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np

from gatesim.api.result import PicturedLengths, watched
from gatesim.ground.arrays import Array
from gatesim.scenario import Scenario
from gatesim.studies import sweep as swept
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel, parse_axis

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Shown = Literal["bias", "uncertainty", "yield"]


@dataclass(frozen=True, repr=False)
class Sweep(PicturedLengths, swept.SweepResult):
    """Figures over one or two quantities; ``show`` of ``formula`` is what is printed and drawn.

    ``allowed``: error that the requirement allows at each point, shape of the grid, m; NaN where none is
    stated.
    """

    formula: str
    show: Shown
    allowed: Array

    KEYS: ClassVar = {
        **swept.SweepResult.KEYS, "allowed": "allowed_error", "formula": None, "show": None,
    }  # fmt: skip

    def text(self, unit: str | None = None) -> str:
        """One row a point."""
        from gatesim.view.lengthunit import unit_of
        from gatesim.view.sweeptext import sweep_text

        return sweep_text(self, self.formula, self.show, None if unit is None else unit_of(unit))

    def plot(self, ax: "Axes | None" = None, unit: str | None = None) -> "Axes":
        """A curve with its band over one quantity, a map over two; what the requirement allows."""
        from gatesim.view.lengthunit import unit_of
        from gatesim.view.sweepchart import sweep_chart

        wanted = None if unit is None else unit_of(unit)
        return sweep_chart(self, self.formula, self.show, ax, wanted, self.allowed)


def sweep(
    scenario: Scenario,
    vary: str | Sequence[str],
    *,
    show: Shown = "bias",
    formula: str | None = None,
    trials: int = 10_000,
    seed: int = 1,
    workers: int | None = None,
) -> Sweep:
    """Study a rig over a range of one or two of its quantities, with common random numbers.

    ``vary``: "gate.spacing=20mm:200mm:30", with ":log" for equal ratios; two of them make a
    map. ``trials`` at each point. Ctrl-C ends it with what was reached. Raises InputError.
    """
    axes = [parse_axis(text) for text in ([vary] if isinstance(vary, str) else vary)]
    rig = RigModel(scenario)
    chosen = rig.choose_formula(formula)
    at = partial(rig.with_values, {axis.path: axis.unit for axis in axes})
    found = swept.sweep(at, axes, Plan(trials, seed), workers=workers, progress=watched())
    return Sweep.of(found, formula=chosen, show=show, allowed=_allowed(rig, at, axes))


def _allowed(
    rig: RigModel, at: Callable[[Mapping[str, float]], RigModel], axes: Sequence[swept.SweptQuantity]
) -> Array:
    """Error allowed at every point: the limits may be swept, and so may the length that they hold for."""
    allowed = rig.scenario.requirement.allowed(rig.scenario.part.length.nominal)
    grid = np.full([axis.values.size for axis in axes], allowed)
    if not any(axis.path.startswith(("part.length", "requirement.")) for axis in axes):
        return grid
    for cell in np.ndindex(*grid.shape):
        values = {axis.path: float(axis.values[i]) for axis, i in zip(axes, cell, strict=True)}
        scenario = at(values).scenario
        grid[cell] = scenario.requirement.allowed(scenario.part.length.nominal)
    return grid
