"""A study at every point of a range."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, ClassVar, Literal

from gatesim.api.result import Pictured, watched
from gatesim.scenario import Scenario
from gatesim.studies import sweep as swept
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel, parse_axis

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Shown = Literal["bias", "uncertainty", "yield"]


@dataclass(frozen=True, repr=False)
class Sweep(Pictured, swept.SweepResult):
    """Figures over one or two quantities; ``show`` of ``formula`` is what is printed and drawn."""

    formula: str
    show: Shown

    KEYS: ClassVar = {**swept.SweepResult.KEYS, "formula": None, "show": None}

    def __str__(self) -> str:
        from gatesim.view.studytext import sweep_text

        return sweep_text(self, self.formula, self.show)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """A curve with its band over one quantity, a map over two."""
        from gatesim.view.sweepchart import sweep_chart

        return sweep_chart(self, self.formula, self.show, ax)


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
    return Sweep.of(found, formula=chosen, show=show)
