"""What the live bench asks of the chain: plain data, each answer a call of its own."""

import math
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any

from gatesim.api.predict import Prediction
from gatesim.api.report import report
from gatesim.api.study import judged
from gatesim.chain.nominal import Again, controller_in, nominal_passage, remembering
from gatesim.chain.pipeline import Measured
from gatesim.explanation.change import Proposal
from gatesim.formula import FORMULAS
from gatesim.ground.errors import InputError
from gatesim.prediction.devices import devices
from gatesim.prediction.predict import told
from gatesim.prediction.trace import trace
from gatesim.scenario import Scenario
from gatesim.studies.draws import names_drawn
from gatesim.studies.engine import study
from gatesim.studies.model import layout_of
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel
from gatesim.view.bench.patch import differences, plain
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.reportdata import histogram_data, motion_drawn, passage_data
from gatesim.view.reporttables import remedy_row, waterfall_bars
from gatesim.view.riggeometry import rig_geometry

Json = dict[str, Any]
SEED = 1


@dataclass(frozen=True)
class Answers:
    """See `gatesim.view.bench.desk.Answers`; lengths in texts and pictures are in ``unit``."""

    unit: LengthUnit = MM

    def reading(self, scenario: Scenario) -> tuple[Json, Measured]:
        """What `gatesim predict --json` lists, its sentences in the unit, equations; and the passage itself.

        What the forces amount to comes later (`along`): it takes as long as the reading and is not shown.
        """
        passed = nominal_passage(scenario)
        found = Prediction.of(told(scenario, passed))
        equations = {each.formula: FORMULAS[each.formula].equation for each in found.readings}
        reasons = {each.formula: self.unit.said(each.reason) for each in found.readings}
        said = {"explanation": self.unit.said(found.explanation), "reasons": reasons}
        return {"prediction": found.data(), "equations": equations, "said": said}, passed

    def passage(self, scenario: Scenario, passed: Measured) -> Json:
        """What the moving pictures are drawn from."""
        covers, curve = motion_drawn(passed)
        traced = trace(scenario, passed=passed, covers=covers, along=())
        data = passage_data(traced, curve, rig_geometry(scenario))
        charge = FORMULAS[next(iter(passed.readings))]
        return {**data, "as_area": charge.one_speed and not scenario.counter.source.turned_by}

    def along(self, scenario: Scenario, passed: Measured) -> Json:
        """What the forces amount to: the rest of what `gatesim predict --json` lists."""
        return {"figures": told(scenario, passed, devices(scenario, passed)).figures}

    def why(self, scenario: Scenario, passed: Measured) -> Json:
        """The error split among its causes; where there is none to split, the reason."""
        from gatesim.explanation import breakdown
        from gatesim.explanation.sentences import cause, facts

        try:
            found = breakdown(scenario, move=remembering(scenario, passed), passed=passed)
        except InputError as problem:
            return {"reason": self.unit.said(str(problem).removeprefix(f"{scenario.file}: ")), "bars": []}
        reason = self.unit.said(cause(found, facts(scenario, passed)))
        return {"reason": reason, "bars": waterfall_bars(found, self.unit)}

    def distribution(self, scenario: Scenario, passed: Measured, trials: int, executor: Executor) -> Json:
        """What `gatesim study --sobol --trials N --json` lists, and the histogram of every formula."""
        rig = RigModel(scenario, controller=controller_in(passed))
        drawn = names_drawn(replace(rig, move=Again(passed)), layout_of(rig))
        charge = next(iter(passed.readings))
        found = study(rig, Plan(trials, SEED, quasi=True), executor, drawn=drawn)
        told = judged(rig, found, charge, executor, passed=passed)
        drawings = {n: histogram_data(scenario, told, each, self.unit) for n, each in told.formulas.items()}
        return {"trials": trials, "study": told.data(), "histograms": drawings}

    def changes(self, scenario: Scenario, executor: Executor) -> Json:
        """Every change that was tried, with what it comes to and the patch that makes it.

        ``now``: within what about 95 % of the parts are read; ``required``: what the scenario allows, if any.
        """
        from gatesim.explanation.remedy import remedies
        from gatesim.explanation.sentences import advice

        charge = RigModel(scenario).choose_formula(None)
        tried = remedies(scenario, charge, each=executor.map)
        rows = [
            {**remedy_row(tried, r, self.unit), "takes": r.takes, "patch": _patch(scenario, r.proposal)}
            for r in tried.tried
        ]
        required = not math.isnan(scenario.requirement.allowed(scenario.part.length.nominal))
        return {
            "advice": self.unit.said(advice(tried)),
            "enough": tried.now.enough,
            "now": remedy_row(tried, tried.now, self.unit)["reach"],
            "required": self.unit.stated(tried.wanted) if required else "",
            "rows": rows,
        }

    def page(self, scenario: Scenario) -> str:
        """The whole report as HTML."""
        return report(scenario, unit=self.unit.name).html


def _patch(scenario: Scenario, proposal: Proposal) -> Json:
    return differences(plain(scenario.raw), plain(proposal.scenario.raw))
