"""One page on a rig."""

from dataclasses import dataclass
from pathlib import Path

from gatesim.api.result import Result, at_work, watched
from gatesim.ground.files import Target
from gatesim.scenario import Scenario


@dataclass(frozen=True, repr=False)
class Report(Result):
    """The page as ``html``, whole in itself; it needs no network."""

    html: str

    def __str__(self) -> str:
        return f"{len(self.html.encode()) / 1e3:.0f} kB"

    def save(self, path: Path | str) -> None:
        """Write the page to a file. Raises InputError where it cannot be written."""
        Target(Path(path), "report").write(self.html)

    def _repr_html_(self) -> str:
        from html import escape

        return f'<iframe srcdoc="{escape(self.html)}" width="100%" height="700" style="border:0"></iframe>'


def report(
    scenario: Scenario,
    *,
    formula: str | None = None,
    trials: int | None = None,
    seed: int = 1,
    workers: int | None = None,
    unit: str | None = None,
) -> Report:
    """What is read, why, and what would change it, on one page.

    With ``trials`` a study of so many adds histogram and uncertainty budget. ``unit`` of lengths: "mm",
    "um" or "in". Raises InputError; KeyboardInterrupt if the study is stopped.
    """
    from gatesim.view.lengthunit import unit_of
    from gatesim.view.report import report_html

    shown = unit_of(unit)
    if trials is None:
        with at_work("explaining"):
            return Report(report_html(scenario, formula, unit=shown))
    from gatesim.studies.budget import budget
    from gatesim.studies.draws import names_drawn
    from gatesim.studies.engine import study
    from gatesim.studies.model import layout_of
    from gatesim.studies.plan import Plan
    from gatesim.studies.points import takes_points
    from gatesim.studies.rig import RigModel

    rig = RigModel(scenario)
    chosen = rig.choose_formula(formula)
    drawn = names_drawn(rig, layout_of(rig))
    plan = Plan(trials, seed, quasi=takes_points(rig, drawn, trials))
    found = study(rig, plan, workers=workers, progress=watched(), drawn=drawn)
    if found.ended == "interrupted":
        raise KeyboardInterrupt
    with at_work("differentiating and explaining"):
        return Report(report_html(scenario, formula, found, budget(rig, chosen, seed=seed), shown))
