"""Scenario files: what is refused, and the sentence that says so."""

import json
import tomllib
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from gatesim.chain.pipeline import run
from gatesim.ground.distribution import StudentT, Trapezoidal
from gatesim.ground.draw import Nominal
from gatesim.ground.errors import InputError
from gatesim.prediction.predict import predict
from gatesim.scenario import load, parse_text
from gatesim.scenario.reader import changed
from gatesim.scenario.schema import json_schema
from tests.rigs import PLAIN, rig

FILES = sorted((Path(__file__).parent.parent / "scenarios").glob("*.toml"))

REFUSED = [
    ("length", "lenght", "part.lenght: [part] has no key 'lenght', did you mean 'length'?"),
    ('"170 mm"', '"170 kg"', "part.length: given '170 kg' (it has the unit 'kg'), expected a length"),
    ('"170 mm"', '"-170 mm"', "part.length: given '-170 mm' (it is out of range), expected a length above 0"),
    ('"170 mm"', "170", "part.length: given 170 (it is not text with a unit)"),
    ('"170 mm"', '"170 ± 1 mm"', "does not say whether it is a tolerance, a standard uncertainty"),
    ('"50 mm"', '"0 mm"', "gate.spacing: given '0 mm' (it is out of range)"),
    ('"50 mm"', '"1e308 m"', "gate.spacing: given '1e308 m' (it is beyond all that can be built)"),
    ('"50 mm"', '"1e-300 m"', "gate.spacing: given '1e-300 m' (it is beyond all that can be built)"),
    ('"50 mm"', '"50 mm"\nrearm = "40 mm"', "gate.rearm: given 40 mm, expected a distance beyond the second"),
    ("[counter]", "[counter]\nwidth = 8", "counter.width: given 8, expected 16 or 32"),
    ("[counter]", "[filter]\nkind = 'none'\n[counter]\nfilter = 1", "counter.filter: [counter] has no key"),
    ("[counter]", "[filter]\nkind = 'foo'\n[counter]", "filter.kind: given 'foo', expected one of 'none'"),
    ("[counter]", "[filter]\nkind = 'stable-for'\n[counter]", "filter.time: given nothing, expected a time"),
    ("[counter]", "[formula]\nuse = []\n[counter]", "formula.use: given [], expected at least 1 of them"),
    ("frequency", "#", "counter: given nothing to count, expected either a frequency"),
    ("[path]", "[pth]", "pth: a scenario has no key 'pth', did you mean 'path'?"),
    ("[part]", "[[part]]", "part: given [{"),
    ('"0.2 kg"', '"0.2 kg"\ntilt = "95 deg"', "part.tilt: given '95 deg' (it is out of range)"),
    ('mass = "0.2 kg"', "", "part.mass: given nothing, expected a mass"),
    (
        '"0.2 kg"',
        '"0.2 kg"\ninertia_factor = 0.4\n[belt]\nspeed = "1 m/s"\nfriction = 0.3',
        "part.inertia_factor: given 0.4, expected 0, since rolling on a [belt] is not modelled",
    ),
    (
        '"0.2 kg"\n\n[path]\nslope = "30 deg"',
        '"0.2 kg"\ninertia_factor = 0.5\n\n[path]\nslope = "90 deg"',
        "part.inertia_factor: given 0.5, expected 0, since at 90 deg no force presses the part to the path",
    ),
]


@pytest.mark.parametrize(("old", "new", "sentence"), REFUSED)
def test_bad_input_is_refused_with_file_key_given_and_expected(old, new, sentence):
    text = PLAIN + '[launch]\nstiffness = "100 N/m"\nstretch = "50 mm"\n'
    with pytest.raises(InputError) as problem:
        parse_text(text.replace(old, new, 1), "rig.toml")
    assert str(problem.value).startswith(("rig.toml: ", "rig.toml, line "))
    assert sentence in str(problem.value)
    assert "\n" not in str(problem.value)


@pytest.mark.parametrize(
    ("spread", "sentence"),
    [
        ('distribution = "gauss"', "not one of normal"),
        ('distribution = "normal"', "it needs standard_uncertainty"),
        ('distribution = "normal", standard_uncertainty = "1 kg"', "it has the unit 'kg'"),
        ('distribution = "normal", half_width = "1 mm"', "has no key 'half_width'"),
        ('distribution = "rectangular"', "either half_width or standard_uncertainty"),
        ('distribution = "rectangular", half_width = "0 mm"', "the size of its spread is not above 0"),
        ('distribution = "trapezoidal", half_width = "1 mm", top_ratio = 2', "top_ratio is not between"),
        ('distribution = "student-t", standard_uncertainty = "1 mm"', "degrees_of_freedom is None"),
    ],
)
def test_a_spread_that_does_not_fit_is_refused(spread, sentence):
    with pytest.raises(InputError) as problem:
        rig(length=f'{{ value = "170 mm", {spread} }}')
    assert sentence in str(problem.value)


def test_spreads_are_read_with_their_own_sizes():
    trapezoid = rig(
        length='{ value = "170 mm", distribution = "trapezoidal", half_width = "2 mm", top_ratio = 0.5 }'
    )
    assert trapezoid.part.length.spread == Trapezoidal(0.002, 0.5)
    mean = rig(
        length='{ value = "170 mm", distribution = "student-t", standard_uncertainty = "0.2 mm",'
        " degrees_of_freedom = 9 }"
    )
    assert mean.part.length.spread == StudentT(0.0002, 9.0)


def test_a_half_width_and_its_standard_uncertainty_mean_the_same():
    by_width = rig(length='{ value = "170 mm", distribution = "rectangular", half_width = "3 mm" }')
    std = by_width.part.length.std
    by_std = rig(
        length=f'{{ value = "170 mm", distribution = "rectangular", standard_uncertainty = "{std!r} m" }}'
    )
    assert by_std.part.length.std == pytest.approx(std)


def test_a_change_keeps_the_spread_and_is_validated_anew():
    spread = rig(spacing='{ value = "50 mm", distribution = "normal", standard_uncertainty = "0.1 mm" }')
    moved = changed(spread, "gate.spacing", "60 mm")
    assert moved.gate.spacing.nominal == pytest.approx(0.060)
    assert moved.gate.spacing.std == pytest.approx(1e-4)
    with pytest.raises(InputError, match=r"gate\.spacing: given '0 mm' with a spread"):
        changed(spread, "gate.spacing", "0 mm")
    with pytest.raises(InputError, match=r"gate\.spacin: no such quantity; the nearest"):
        changed(spread, "gate.spacin", "60 mm")


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_scenario_of_the_repository_is_valid_marked_and_fits_the_schema(file):
    scenario = load(file)
    assert scenario.title
    assert "nvented" in scenario.note
    assert file.read_text(encoding="utf-8").startswith("# Invented example")
    jsonschema.Draft202012Validator(json_schema()).validate(tomllib.loads(file.read_text(encoding="utf-8")))


@pytest.mark.long
def test_the_schema_is_a_schema_with_descriptions_and_examples():
    schema = json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    assert json.loads(json.dumps(schema)) == schema
    length = schema["$defs"]["PartTable"]["properties"]["length"]
    assert length["description"]
    assert length["examples"] == ["120 mm"]


def test_the_schema_refuses_what_the_reader_refuses():
    schema = json_schema()
    bad = tomllib.loads(PLAIN.replace("length", "lenght"))
    assert not jsonschema.Draft202012Validator(schema).is_valid(bad)


def test_a_file_that_is_not_there_or_not_text_is_told(tmp_path):
    with pytest.raises(InputError, match="it cannot be read"):
        load(tmp_path / "none.toml")
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="it is not UTF-8 text"):
        load(binary)
    broken = tmp_path / "broken.toml"
    broken.write_text("[part\n")
    with pytest.raises(InputError, match="it is not valid TOML"):
        load(broken)


def test_a_terminal_speed_where_friction_alone_holds_the_part_is_refused():
    brake = '[brake]\nstart = "0 mm"\nlength = "1 m"\nlaw = "linear"\nterminal_speed = "0.5 m/s"\n'
    held = rig(brake, slope='"5 deg"\nfriction = 0.5')
    with pytest.raises(InputError, match=r"brake\.terminal_speed: given 0\.5 m/s"):
        predict(held)


BAR = """
[part]
length = "240 mm"
{mass}
[path]
slope = "30 deg"
[launch]
stiffness = "140 N/m"
stretch = "45 mm"
[gate]
first = "300 mm"
spacing = "80 mm"
[counter]
frequency = "1 MHz"
"""


def test_a_mass_per_length_is_a_mass_that_follows_the_length():
    bar = parse_text(BAR.format(mass='mass_per_length = "0.5 kg/m"'))
    for length, mass in (("240 mm", "120 g"), ("120 mm", "60 g")):
        cut = changed(bar, "part.length", length)
        same = changed(parse_text(BAR.format(mass=f'mass = "{mass}"')), "part.length", length)
        one, other = (run(scenario, Nominal(1)) for scenario in (cut, same))
        assert one.rig.part.mass == pytest.approx(other.rig.part.mass, rel=1e-15)
        np.testing.assert_allclose(one.motion.time, other.motion.time, rtol=1e-12)
    with pytest.raises(InputError, match=r"mass_per_length.* expected nothing beside a mass"):
        parse_text(BAR.format(mass='mass = "1 kg"\nmass_per_length = "0.5 kg/m"'))
    with pytest.raises(InputError, match=r"part\.mass"):
        parse_text(BAR.format(mass=""))
