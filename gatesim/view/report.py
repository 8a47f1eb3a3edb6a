"""One self-contained page on a rig: what is read, why, what would change it."""

from importlib.resources import files
from typing import Any

from gatesim.chain.cautions import cautions
from gatesim.chain.pipeline import Measured, Move
from gatesim.explanation.ahead import looking_ahead
from gatesim.explanation.breakdown import Breakdown, breakdown
from gatesim.explanation.remedy import Remedies, remedies
from gatesim.explanation.sentences import advice, cause, facts, headline, off
from gatesim.formula import FORMULAS
from gatesim.ground.errors import InputError
from gatesim.ground.outcome import Outcome
from gatesim.prediction.predict import Prediction, predict
from gatesim.prediction.trace import trace
from gatesim.scenario.model import Scenario
from gatesim.studies.best import best_of_all
from gatesim.studies.budget import Budget
from gatesim.studies.result import StudyResult
from gatesim.view.drawing import SCRIPTS, script
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.reportdata import histogram_data, motion_drawn, passage_data
from gatesim.view.reporttables import (
    budget_table,
    cheapest_card,
    inputs_table,
    readings_table,
    remedy_groups,
    study_figures,
    waterfall_bars,
)
from gatesim.view.riggeometry import rig_geometry
from gatesim.view.template import render

ASSUMPTIONS = (
    "The path is straight; the part does not bounce, tumble or bend, and slides or rolls as stated.",
    "Friction is dry friction with one coefficient at rest and in motion; gravity is the one stated.",
    "Beams are evenly lit, and stand across the path at the distances and angles stated.",
    "What is read is the passage of the nominal part: every quantity at the middle of its spread. Scatter "
    "comes from the spreads stated in the scenario, and from nothing else.",
    "The formula's constants are the nominal ones unless the scenario states others.",
)


def report_html(
    scenario: Scenario,
    formula: str | None = None,
    study: StudyResult | None = None,
    budget: Budget | None = None,
    unit: LengthUnit = MM,
) -> str:
    """The page as HTML that needs no network; everything that comes from the scenario is escaped.

    ``study`` and ``budget`` (of the same formula) add the uncertainty; left out, that section is
    too. Raises InputError for a formula that the rig does not have.
    """
    from markupsafe import Markup

    own = files("gatesim") / "view"
    scripts = [*map(script, SCRIPTS), (own / "report.js").read_text(encoding="utf-8")]
    return render(
        "report.html.j2",
        **_content(scenario, formula, study, budget, unit),
        css=Markup((own / "report.css").read_text(encoding="utf-8")),
        js=Markup("\n".join(scripts)),
    )


def _content(
    scenario: Scenario,
    formula: str | None,
    study: StudyResult | None,
    budget: Budget | None,
    unit: LengthUnit,
) -> dict[str, Any]:
    move = looking_ahead(scenario)
    told = predict(scenario, move)
    passed = told.passage
    formula = told.readings[0].formula if formula is None else formula
    if formula not in passed.readings:
        raise InputError(f"--formula: given {formula!r}, expected one of {', '.join(passed.readings)}")
    covers, curve = motion_drawn(passed)
    traced = trace(scenario, passed=passed, move=move, covers=covers, along=told.devices)
    rig = rig_geometry(scenario)
    data = passage_data(traced, curve, rig)
    found = None if study is None else study.formulas.get(formula)
    if study is not None and found is not None:
        data["histogram"] = histogram_data(scenario, study, found, unit)
    return {
        "title": scenario.title or scenario.file,
        "note": scenario.note,
        "file": scenario.file,
        "formula": formula,
        "mm": unit.name,
        "unit": unit.for_scripts,
        "length": unit.fixed(traced.part_length, 3),
        "outcome": told.outcome,
        "explanation": unit.said(told.explanation),
        "measured": told.outcome == Outcome.MEASURED.word,
        "gates": len(rig.gates),
        "rig": rig,
        "area": FORMULAS[formula].one_speed and not scenario.counter.source.turned_by,
        "data": data,
        "readings": readings_table(told, formula, unit),
        "remarks": [unit.said(sentence) for sentence in _remarks(scenario, told, move)],
        "inputs": inputs_table(scenario),
        "devices": [unit.said(device.words) for device in told.devices],
        "assumptions": [
            *ASSUMPTIONS,
            *(unit.said(limit) for device in told.devices for limit in device.limits),
        ],
        "cautions": [(c.hazard, c.text[0].upper() + c.text[1:]) for c in cautions(scenario)],
        "study": None if study is None or found is None else study_figures(study, found, unit),
        "budget": None if budget is None else budget_table(budget, unit),
        **_why(scenario, told, formula, move, unit),
    }


def _remarks(scenario: Scenario, told: Prediction, move: Move) -> tuple[str, ...]:
    measured = told.outcome == Outcome.MEASURED.word
    return best_of_all(scenario, move=move).sentences if measured else ()


def _why(scenario: Scenario, told: Prediction, formula: str, move: Move, unit: LengthUnit) -> dict[str, Any]:
    """The explanation where there is a reading to explain; else only what the outcome says."""
    reading = told.reading(formula)
    if reading.length_m is None:
        return {"why": None, "no_reading": unit.said(reading.reason)}
    try:
        split = breakdown(scenario, formula, move=move)
    except InputError as problem:
        return {"why": None, "no_reading": str(problem)}
    tried = remedies(scenario, formula, move=move)
    return {"why": _told(scenario, told.passage, split, tried, unit), "no_reading": ""}


def _told(
    scenario: Scenario, passed: Measured, split: Breakdown, tried: Remedies, unit: LengthUnit
) -> dict[str, Any]:
    about, judged = facts(scenario, passed), scenario.judged_lengths
    return {
        "verdict": unit.said("Reads " + off(split.error)),
        "headline": unit.said(headline(split)),
        "reading": unit.fixed(split.reading, 3),
        "dwell": f"{1e3 * about.seen.dwell:.4g} ms",
        "transit": f"{1e3 * about.seen.transit:.4g} ms",
        "spacing": unit.stated(about.seen.spacing),
        "cause": unit.said(cause(split, about)),
        "advice": unit.said(advice(tried)),
        "enough": tried.now.enough,
        "cheapest": cheapest_card(tried, unit),
        "wanted": unit.stated(tried.wanted, 3),
        "wanted_text": unit.said(tried.wanted_text),
        "range": f"{unit.plain(judged[0])} to {unit.stated(judged[-1])}" if len(judged) > 1 else "",
        "worst": unit.stated(tried.now.worst),
        "bars": waterfall_bars(split, unit),
        "groups": remedy_groups(tried, unit),
        "now": tried.now,
    }
