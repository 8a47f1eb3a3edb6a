"""Which formula reads a rig best, as it is and once it is calibrated."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import ClassVar

from gatesim.chain import pipeline
from gatesim.chain.account.assumption import Departure, departures
from gatesim.chain.controller import Controller, uncalibrated
from gatesim.chain.once import once
from gatesim.chain.pipeline import motion_query
from gatesim.chain.remembered import Remembered
from gatesim.chain.sidebyside import Question
from gatesim.formula import FORMULAS, suited
from gatesim.ground.data import Keys
from gatesim.ground.draw import Nominal
from gatesim.scenario.model import Scenario
from gatesim.studies.block import values_in
from gatesim.studies.engine import study
from gatesim.studies.model import layout_of, levels_of
from gatesim.studies.plan import Plan
from gatesim.studies.result import Estimate, FormulaResult, StudyResult
from gatesim.studies.rig import RigModel

MOST_LOST = 0.01  # share of trials that a formula may read less of than the one that reads most
SURE = 2.0  # Monte Carlo errors of the difference within which two formulas cannot be told apart
TRIALS = 2000


@dataclass(frozen=True)
class Ranked:
    """The formula of least ``error``: root mean square of bias and standard uncertainty, m.

    ``no_worse``: others that these trials do not tell from it. ``needs``: counts and constants, in words.
    """

    formula: str
    error: Estimate
    no_worse: tuple[str, ...]
    needs: str

    KEYS: ClassVar[Keys] = {"formula": "formula", "error": "rms_error_m"}


@dataclass(frozen=True)
class Best:
    """The formulas to take for a rig; None without two to choose from, or where no rig can be calibrated.

    ``broken``: what formulas take for granted that this rig does not keep.
    """

    as_it_is: Ranked | None
    calibrated: Ranked | None
    broken: tuple[Departure, ...]

    KEYS: ClassVar[Keys] = {"calibrated": "after_calibration"}

    @property
    def sentences(self) -> tuple[str, ...]:
        """What there is to say."""
        said = [
            f"{when}: {found.formula}, {_mm(found.error.value)} (root mean square of bias and standard "
            f"uncertainty){_others(found.no_worse)}. It needs {found.needs}."
            for when, found in (
                ("Least error as the rigs are", self.as_it_is),
                ("Least error once each rig is calibrated", self.calibrated),
            )
            if found is not None
        ]
        return (*said, *(departure.words for departure in self.broken))


def _mm(value: float) -> str:
    return f"{1e3 * value:.3g} mm"


def _others(names: tuple[str, ...]) -> str:
    return f"; {' and '.join(names)} no worse as far as these trials tell" if names else ""


def best(scenario: Scenario, result: StudyResult, passed: pipeline.Measured | None = None) -> Best:
    """Rank the formulas of a study of this scenario; ``passed``: its nominal passage, where it is known."""
    passed = pipeline.run(scenario, Nominal(1)) if passed is None else passed
    formulas = result.formulas
    return Best(
        _ranked(formulas, lambda f: (f.bias, f.uncertainty)),
        _ranked(formulas, lambda f: (f.calibrated_bias, f.calibrated)),
        departures(scenario, passed, tuple(formulas)),
    )


def expect_best(scenario: Scenario, move: Remembered, trials: int = TRIALS) -> None:
    """Let ``move`` know the trials that `best_of_all` will ask of it."""
    rig, plan = RigModel(scenario), Plan(trials)
    draw = plan.draw(0, {}, layout_of(rig), levels_of(rig), calibrated=True)
    query = motion_query(scenario, draw, values_in(rig, plan, draw), ends=False, controller=Controller({}))
    move.expect(Question(query.rig.part, query.rig.path, query.rig.forces, query.positions))


def best_of_all(scenario: Scenario, trials: int = TRIALS, move: pipeline.Move = once) -> Best:
    """The same by a small study of its own, of every formula that the rig has the constants for.

    ``move`` as `gatesim.chain.pipeline.run` has it.
    """
    held = uncalibrated(scenario)
    able = [
        n for n in suited(travel=bool(scenario.counter.source.turned_by)) if not FORMULAS[n].missing(held)
    ]
    charge = [name for name in (scenario.formula.use or ())[:1] if name in able]
    use = tuple(dict.fromkeys([*charge, *able]))
    free = scenario.model_copy(update={"formula": scenario.formula.model_copy(update={"use": use})})
    found = study(RigModel(free, move=move), Plan(trials), workers=1)
    return best(free, found, pipeline.run(free, Nominal(1), move=move))


def _ranked(
    formulas: Mapping[str, FormulaResult], figures: Callable[[FormulaResult], tuple[Estimate, Estimate]]
) -> Ranked | None:
    most = max((f.good.share for f in formulas.values()), default=0.0)
    errors = {n: _rms(*figures(f)) for n, f in formulas.items() if f.good.share >= most - MOST_LOST}
    known = {name: error for name, error in errors.items() if math.isfinite(error.value)}
    if not known or len(formulas) < 2:
        return None
    first = min(known, key=lambda name: known[name].value)
    least = known.pop(first)
    no_worse = [
        name
        for name, error in known.items()
        if error.value - least.value <= SURE * math.hypot(_error(error), _error(least))
    ]
    return Ranked(first, least, tuple(no_worse), FORMULAS[first].needs)


def _error(estimate: Estimate) -> float:
    return estimate.error if math.isfinite(estimate.error) else 0.0


def _rms(bias: Estimate, uncertainty: Estimate) -> Estimate:
    """Root mean square of an error with these moments, with its Monte Carlo error to first order."""
    value = math.hypot(bias.value, uncertainty.value)
    if not value > 0.0:
        return Estimate(value, 0.0)
    parts = (bias.value * _error(bias), uncertainty.value * _error(uncertainty))
    return Estimate(value, math.hypot(*parts) / value)
