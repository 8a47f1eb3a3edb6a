"""A calibration line belongs to the formula from whose readings it was taken, and to no other."""

import copy
from pathlib import Path
from typing import Any

import pytest

from gatesim.chain.controller import constants_of
from gatesim.explanation.breakdown import breakdown
from gatesim.explanation.remedy import remedies
from gatesim.ground.errors import InputError
from gatesim.prediction.predict import predict
from gatesim.scenario import Scenario, load
from gatesim.scenario.reader import from_raw

SCENARIOS = Path(__file__).parent.parent / "scenarios"


def chute(**formula: Any) -> Scenario:
    raw = copy.deepcopy(load(SCENARIOS / "2-chute-slat.toml").raw)
    return from_raw({**raw, "formula": formula}, "chute.toml")


def test_each_formula_is_read_with_its_own_line() -> None:
    plain = predict(chute())
    lines = {"spacing-dwell": {"gain": 1.25, "zero": "-3 mm"}, "four-edge": {"zero": "0.5 mm"}}
    lined = predict(chute(calibration=lines))
    for reading in plain.readings:
        assert reading.length_m is not None
        line = lines.get(reading.formula, {})
        zero = float(str(line.get("zero", "0 mm")).split()[0]) * 1e-3
        expected = float(str(line.get("gain", 1.0))) * reading.length_m + zero
        assert lined.reading(reading.formula).length_m == pytest.approx(expected, rel=1e-12)


def test_gain_and_zero_without_a_name_are_those_of_the_formula_in_charge() -> None:
    plain, lined = predict(chute()), predict(chute(gain=1.1, zero="1 mm"))
    first, *others = [reading.formula for reading in plain.readings]
    length = plain.reading(first).length_m
    assert length is not None
    assert lined.reading(first).length_m == pytest.approx(1.1 * length + 1e-3, rel=1e-12)
    for name in others:
        assert lined.reading(name).length_m == plain.reading(name).length_m


def test_an_own_line_beside_one_without_a_name_is_refused() -> None:
    with pytest.raises(InputError, match=r"formula\.gain: given 1\.1, expected gain in a table"):
        chute(gain=1.1, calibration={"four-edge": {"zero": "1 mm"}})
    with pytest.raises(InputError, match="did you mean 'four-edge'"):
        chute(calibration={"four-edges": {"zero": "1 mm"}})


@pytest.mark.long
def test_a_change_of_formula_leaves_the_line_of_the_old_one_behind() -> None:
    # A line fitted to one formula on a chute once made the explanation call good formulas 22 mm off.
    bent = {"gain": 1.17, "zero": "-22.8 mm", "use": ["spacing-dwell"]}
    free = {r.formula: r.error_m for r in predict(chute()).readings}
    tried = remedies(chute(**bent), "spacing-dwell").tried
    found = {r.proposal.formula: r.error for r in tried if r.proposal.title.startswith("use the formula")}
    assert len(found) >= 4
    for name, error in found.items():
        assert error == pytest.approx(free[name], abs=1e-12)


@pytest.mark.long
@pytest.mark.parametrize("formula", ["spacing-dwell", "four-edge"])
def test_a_new_line_goes_on_top_of_the_old_one_and_leaves_the_other_formulas_alone(formula: str) -> None:
    scenario = chute(gain=1.02, zero="-1 mm", use=["spacing-dwell", "four-edge"])
    (line,) = [r for r in remedies(scenario, formula).tried if "calibration line" in r.proposal.title][:1]
    changed = line.proposal.scenario
    other = "four-edge" if formula == "spacing-dwell" else "spacing-dwell"
    assert constants_of(changed, other) == constants_of(scenario, other)
    assert abs(line.error) < 0.3e-3  # between the two references the reading is slightly bent


def test_the_share_of_the_line_is_what_the_line_moves() -> None:
    found = breakdown(chute(calibration={"four-edge": {"gain": 1.001, "zero": "0.1 mm"}}), "four-edge")
    plain = predict(chute()).reading("four-edge").length_m
    assert plain is not None
    assert found.share("calibration") == pytest.approx(0.001 * plain + 0.1e-3, rel=1e-2)
    assert breakdown(chute(calibration={"four-edge": {"gain": 1.001}}), "rear-edge").share("calibration") == 0
