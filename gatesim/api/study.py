"""Monte Carlo study of a rig."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from gatesim.api.result import PicturedLengths, watched
from gatesim.chain.reference import parse_calibration
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.scenario.fitted import fit_warning
from gatesim.studies import result as studied
from gatesim.studies.best import Best, best
from gatesim.studies.draws import names_drawn
from gatesim.studies.engine import UNSAVED
from gatesim.studies.engine import study as run
from gatesim.studies.model import layout_of
from gatesim.studies.plan import MOST_TRIALS, Plan
from gatesim.studies.points import takes_points
from gatesim.studies.required import Judged, judge
from gatesim.studies.result import Estimate, FormulaResult
from gatesim.studies.rig import RigModel
from gatesim.studies.until import parse_until

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from matplotlib.axes import Axes

    from gatesim.chain.pipeline import Measured

TRIALS, POINTS = 100_000, 65_536
"""Pseudo-random trials, or Sobol points, that tell the ends of an interval about as well."""


@dataclass(frozen=True, repr=False)
class Study(PicturedLengths, studied.StudyResult, studied.OfOneFormula):
    """Figures of all formulas; ``formula`` is the one that is drawn and that the short names mean.

    ``requirement``: each formula against what the scenario requires, at the worst of the lengths;
    ``best``: which formula reads the rig best, and what formulas take for granted in vain.
    """

    scenario: Scenario
    formula: str
    requirement: Mapping[str, Judged]
    best: Best

    KEYS: ClassVar = {
        **studied.StudyResult.KEYS,
        "warnings": "warnings",
        "requirement": "requirement",
        "best": "best",
        "scenario": None,
        "formula": None,
    }
    UNITS: ClassVar = {"true_length": "m", "bias": "m", "uncertainty": "m", "low": "m", "high": "m"}

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a fit says against the values that were studied."""
        return fit_warning(self.scenario.fitted, self.scenario.part.length.nominal)

    @property
    def figures(self) -> FormulaResult:
        """All figures of the formula."""
        return self.formulas[self.formula]

    def text(self, unit: str | None = None) -> str:
        """Error figures of every formula, by level, against the requirement; outcomes."""
        from gatesim.view.lengthunit import unit_of
        from gatesim.view.studytext import study_text

        shown = unit_of(unit)
        told = study_text(self, self.requirement, self.best.sentences, shown)
        return "\n\n".join([*map(shown.said, self.warnings), told])

    def plot(self, ax: "Axes | None" = None, unit: str | None = None) -> "Axes":
        """Histogram of the formula's readings with the tolerance limits of the scenario."""
        from gatesim.view.histogram import histogram
        from gatesim.view.lengthunit import unit_of

        wanted = self.scenario.requirement
        low, high = (q.nominal if q else None for q in (wanted.lower_limit, wanted.upper_limit))
        return histogram(self, self.formula, low, high, ax, unit_of(unit))


def study(
    scenario: Scenario,
    *,
    trials: int | None = None,
    seed: int = 1,
    until: str | None = None,
    coverage: float = 0.95,
    sobol: bool | None = None,
    workers: int | None = None,
    executor: "Executor | None" = None,
    state: Path | str | None = None,
    calibration: str = "2x5",
    csv: Path | str | None = None,
    formula: str | None = None,
) -> Study:
    """Draw rigs, parts on each of them and passages of each part, and run each through the chain.

    Every quantity that has a spread is drawn as often as its level says.

    ``sobol``: on scrambled Sobol points, or on pseudo-random draws; left out, on points where they suit
    the rig (`gatesim.studies.points`), with 1024 trials or more and no ``csv``, whose rows may be wanted
    independent. ``trials`` of points are whole replicates near that number.

    ``until``: "2" (significant digits of the standard uncertainty) or "0.1%" of it, see JCGM
    101, 7.9; ``trials`` are then the most. ``workers``: processes, all cores if left out;
    ``executor``: any other place to run. ``state``: file from which a stopped study goes on.
    ``calibration``: reference parts, and passages of each, that every rig is calibrated with.
    ``csv``: file that every trial is written to. Ctrl-C, or a full disk, ends it with what was
    reached, see ``ended``. The same seed gives the same bits. Raises InputError.
    """
    from gatesim.studies.trials import trials_table

    target, how = parse_until(until) if until else None, parse_calibration(calibration)
    rig = RigModel(scenario)
    chosen = rig.choose_formula(formula)
    drawn = names_drawn(rig, layout_of(rig))
    if sobol is None:
        sobol = not csv and takes_points(rig, drawn, trials or TRIALS)
    usual = MOST_TRIALS if target else POINTS if sobol else TRIALS
    plan = Plan(trials or usual, seed, coverage, target, sobol, how)
    found = None
    try:
        with trials_table(Path(csv) if csv else None, layout_of(rig)) as sink:
            found = run(rig, plan, executor, workers, Path(state) if state else None, sink, watched(), drawn)
            if csv and found.ended.startswith(UNSAVED):
                raise InputError(found.ended)  # so that the old table stays
    except InputError as error:
        if found is None:
            raise
        found = replace(found, ended=UNSAVED + str(error).removeprefix(UNSAVED))
    return judged(rig, found, chosen, executor, workers)


def judged(
    rig: RigModel,
    found: studied.StudyResult,
    formula: str,
    executor: "Executor | None" = None,
    workers: int | None = None,
    passed: "Measured | None" = None,
) -> Study:
    """A study's figures with each formula judged by what the scenario requires.

    ``passed``: the nominal passage, where it is known already.
    """
    requirement = judge(rig, found, executor, workers)
    scenario = rig.scenario
    told = {"requirement": requirement, "best": best(scenario, found, passed)}
    return Study.of(found, scenario=scenario, formula=formula, **told)


__all__ = ["Estimate", "Study", "study"]
