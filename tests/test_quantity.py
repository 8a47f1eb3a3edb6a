"""Quantities: text with units on the outside, SI floats inside."""

import math
import pathlib
import subprocess
import sys

import pint
import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from gatesim.counter import Clock
from gatesim.ground.keys import Reader
from gatesim.ground.quantity import Quantity, in_root_units, parse, to_si
from gatesim.ground.unitfactors import COMMON_UNITS
from gatesim.motion import Path, passage
from gatesim.part import Part

FULL = pint.UnitRegistry()
EXAMPLE = pathlib.Path(__file__).parent.parent / "scenarios" / "2-chute-slat.toml"

# Conversion factors: scipy.constants (CODATA/NIST values), an independent table.
KNOWN = [
    ("120 mm", "m", 0.120),
    ("1 in", "m", scipy.constants.inch),
    ("35 deg", "rad", 35 * scipy.constants.degree),
    ("100 kHz", "Hz", 1e5),
    ("2 lb", "kg", 2 * scipy.constants.lb),
    ("1 g_n", "m/s^2", scipy.constants.g),
    ("20 ppm", "", 2e-5),
    ("5 %", "", 0.05),
    ("3.77e7 S/m", "S/m", 3.77e7),
    ("0.3 mT", "T", 3e-4),
    ("2 min", "s", 120.0),
    ("6 µs", "s", 6e-6),
    ("0.25", "", 0.25),
]


@pytest.mark.parametrize(("text", "unit", "value"), KNOWN)
def test_units_convert_as_an_independent_table_says(text, unit, value):
    assert parse(text, unit)[0] == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "reason"),
    [
        ("120", "m", "it has no unit"),
        ("120 kg", "m", "it has the unit 'kg'"),
        ("120 mmm", "m", "the unit 'mmm' is not known"),
        ("5 deg", "", "it has the unit 'deg'"),
        ("5", "rad", "it has no unit"),
        ("1e999 mm", "m", "it is not a finite number"),
        ("120 ± 1 mm", "m", "tolerance, a standard uncertainty"),
        ("120 +/- 1 mm", "m", "half_width"),
        ("9**9**9 mm", "m", "cannot be read"),
        ("1 m^9^9^9", "m", "cannot be read"),
        ("", "m", "cannot be read"),
    ],
)
def test_what_cannot_be_read_is_told_with_its_reason(text, unit, reason):
    with pytest.raises(ValueError, match=r".") as problem:
        parse(text, unit)
    assert reason in str(problem.value)


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_with_a_reason(text):
    try:
        value, _ = parse(text, "m")
    except ValueError:
        return
    assert math.isfinite(value)


@given(st.floats(-1e6, 1e6), st.sampled_from(["mm", "m", "km", "in"]))
def test_the_number_written_comes_back_in_its_own_unit(number, unit):
    ours, written = parse(f"{number!r} {unit}", "m")
    theirs = FULL.Quantity(number, unit).to("m").magnitude
    assert written == unit
    assert ours == pytest.approx(theirs, rel=1e-12, abs=1e-300)


def test_pint_quantities_of_any_registry_become_si():
    assert to_si(FULL.Quantity(120.0, "mm"), "m") == pytest.approx(0.120)
    assert to_si(0.120, "m") == 0.120
    with pytest.raises(pint.DimensionalityError):
        to_si(FULL.Quantity(1.0, "kg"), "m")


def test_what_is_described_may_be_described_in_pint_quantities():
    plain = Part(0.170, mass=0.2, tilt=math.radians(2.0))
    described = Part(FULL.Quantity(170, "mm"), mass=FULL.Quantity(200, "g"), tilt=FULL.Quantity(2, "deg"))
    assert described.length == pytest.approx(plain.length)
    assert described.mass == pytest.approx(plain.mass)
    assert described.tilt == pytest.approx(plain.tilt)
    moved = passage(described, Path(FULL.Quantity(30, "deg")), (), FULL.Quantity([400, 450], "mm"))
    same = passage(plain, Path(math.radians(30)), (), [0.400, 0.450])
    assert moved.time == pytest.approx(same.time)
    with pytest.raises(pint.DimensionalityError):
        Clock(FULL.Quantity(3, "mm"))


def test_the_units_kept_for_a_quick_start_are_those_of_pint():
    for unit, kept in COMMON_UNITS.items():
        assert in_root_units(unit) == kept, unit


@pytest.mark.long
def test_a_prediction_in_common_units_does_not_load_pint():
    code = (
        f"import sys; from gatesim import load, predict; predict(load({str(EXAMPLE)!r})); "
        "print([m for m in ('pint', 'matplotlib', 'jinja2') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_text_is_read_alike_however_often_and_what_is_refused_stays_refused():
    reader = Reader("m", 'a length such as "1 mm"', low=0.0)
    assert reader("3 mm") == reader.read("3 mm") == Quantity(0.003, "mm", "3 mm")
    table = {"value": "3 mm", "distribution": "rectangular", "half_width": "1 mm"}
    assert reader(table) == reader.read(table) != reader("3 mm")
    share = Reader("", "a share from 0 to 1", low=0.0, high=1.0)
    assert share(1) == share.read(1)
    for wrong in ("3 kg", "-3 mm", {**table, "half_width": "4 mm"}, {**table, "value": 3}):
        for _ in range(2):
            with pytest.raises(ValueError, match="a length such as"):
                reader(wrong)
