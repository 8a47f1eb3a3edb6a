"""Errors that teach: all of a file's at once, each with its line and column and how to mend it."""

import tomllib

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from gatesim.ground.errors import InputError
from gatesim.ground.quantity import parse
from gatesim.prediction.predict import predict
from gatesim.scenario import parse_text
from gatesim.scenario.places import places_of
from gatesim.studies.choice.model import load_choice

RIG = """\
[part]
length = "170 mm"

[path]
slope = "30 deg"
friction = 0.2

[gate]
first = "400 mm"
spacing = "50 mm"

[counter]
frequency = "100 kHz"
"""

TAUGHT = [
    (
        '"170 mm"',
        "170 mm",
        'line 2, column 10: length: given 170 mm without quotes, expected length = "170 mm"',
    ),
    (
        '"170 mm"',
        "170,5 mm",
        'line 2, column 10: length: given 170,5 mm without quotes, expected length = "170.5 mm", with a '
        "decimal point",
    ),
    (
        '"170 mm"',
        '{ value = 170 mm, distribution = "normal", standard_uncertainty = "1 mm" }',
        'line 2, column 20: value: given 170 mm without quotes, expected value = "170 mm"',
    ),
    (
        '"170 mm"',
        "“170 mm”",
        'line 2, column 10: given the quotation mark “, expected straight ones, as in length = "170 mm"',
    ),
    (
        '"170 mm"',
        '"300,5 mm"',
        "line 2, column 1: part.length: given '300,5 mm' (it has a decimal comma, write '300.5 mm'), "
        'expected a length above 0 such as "120 mm"',
    ),
    (
        '"170 mm"',
        '"1,200 mm"',
        "(it has a decimal comma, write '1.200 mm', or '1200 mm' if thousands are meant)",
    ),
    (
        '"170 mm"',
        '"170 mm"\nweight = "200 g"',
        "line 3, column 1: part.weight: [part] has no key 'weight', did you mean 'mass'?",
    ),
    (
        '"170 mm"',
        '"170 mm"\nfrequency = "1 kHz"',
        "line 3, column 1: part.frequency: [part] has no key 'frequency', did you mean 'frequency' in "
        "[counter]?",
    ),
    ("friction", "mu", "line 6, column 1: path.mu: [path] has no key 'mu', did you mean 'friction'?"),
    (
        "spacing",
        "distance",
        "line 10, column 1: gate.distance: [gate] has no key 'distance', did you mean 'spacing'?",
    ),
    ("[path]", "[chute]", "line 4, column 1: chute: a scenario has no key 'chute', did you mean 'path'?"),
    (
        "0.2",
        "{ value = 0.2, half_width = 0.02 }",
        "line 6, column 1: path.friction: given 0.2 with a spread (it has half_width but no distribution, "
        "which can be rectangular, triangular, trapezoidal, arcsine)",
    ),
    (
        "0.2",
        '{ value = 0.2, distribution = "uniform", half_width = 0.02 }',
        "(its distribution is 'uniform', not one of normal, rectangular, triangular, trapezoidal, arcsine, "
        "student-t; uniform is written rectangular)",
    ),
    (
        "0.2",
        '{ value = 0.2, distribution = "gaussian", standard_uncertainty = 0.02 }',
        "student-t; gaussian is written normal)",
    ),
    (
        "[counter]",
        '[sensor]\nbeam = "circular"\n[counter]',
        "line 13, column 1: sensor.beam: given 'circular', expected a table [sensor.beam] such as beam = "
        '{ shape = "circular", diameter = "120 mm" }',
    ),
    (
        "[counter]",
        '[filter]\nkind = "debounce"\ntime = "1 ms"\n[counter]',
        "line 13, column 1: filter.kind: given 'debounce', expected one of 'none', 'stable-for', 'hold-off', "
        "'majority'",
    ),
    (
        "[counter]",
        '[filter]\nkind = "stable_for"\ntime = "1 ms"\n[counter]',
        "'majority'; did you mean 'stable-for'?",
    ),
    (
        "[counter]",
        '[formula]\nuse = "four-egde"\n[counter]',
        "line 13, column 1: formula.use: given 'four-egde', expected 'spacing-dwell', 'known-acceleration', "
        "'fixed-release', 'rear-edge', 'four-edge', 'three-gates' or 'encoder-pitch'; did you mean "
        "'four-edge'?",
    ),
    (
        "[path]",
        "[path",
        "line 4, column 6: it is not valid TOML: Expected ']' at the end of a table declaration",
    ),
]


def refusal(text):
    with pytest.raises(InputError) as problem:
        parse_text(text, "rig.toml")
    return str(problem.value)


@pytest.mark.parametrize(("old", "new", "taught"), TAUGHT)
def test_a_message_says_where_and_what_to_write_instead(old, new, taught):
    said = refusal(RIG.replace(old, new, 1))
    assert said.startswith("rig.toml, line "), said
    assert taught in said
    assert "\n" not in said


def test_everything_that_is_wrong_is_told_at_once_in_the_order_of_the_file():
    text = RIG.replace('"170 mm"', '170,5 mm\nweight = "1 kg"').replace("friction = 0.2", "friction = -1")
    text = text.replace("spacing", "spacng").replace('"100 kHz"', '"100 mm"')
    lines = refusal(text).splitlines()
    assert lines[0] == "rig.toml: 5 things to mend"
    found = [line.strip().split(": ")[:2] for line in lines[1:]]
    assert found == [
        ["line 2, column 10", "length"],
        ["line 3, column 1", "part.weight"],
        ["line 7, column 1", "path.friction"],
        ["line 11, column 1", "gate.spacng"],
        ["line 14, column 1", "counter.frequency"],
    ]


def test_keys_that_do_not_fit_together_are_told_together():
    text = RIG.replace('spacing = "50 mm"', 'spacing = "50 mm"\nrearm = "40 mm"')
    text += 'width = 32\n\n[launch]\nstiffness = "100 N/m"\nstretch = "50 mm"\n'
    said = refusal(text)
    assert "line 11, column 1: gate.rearm: given 40 mm" in said
    assert "line 1, column 1: part.mass: given nothing" in said


def test_a_single_formula_need_not_be_a_list():
    one = parse_text(RIG + '[formula]\nuse = "rear-edge"\n')
    listed = parse_text(RIG + '[formula]\nuse = ["rear-edge"]\n')
    assert one.formula.use == listed.formula.use == ("rear-edge",)
    assert predict(one).readings == predict(listed).readings


def test_a_byte_order_mark_and_windows_line_ends_are_read():
    text = "\ufeff" + RIG.replace("\n", "\r\n")
    assert parse_text(text).part.length.nominal == pytest.approx(0.17)
    assert "line 2, column 1" in refusal(text.replace('"170 mm"', '"0 mm"'))


# SI Brochure, 9th edition (2019, as of 2022), table 7
PREFIXES = {
    "q": -30, "r": -27, "y": -24, "z": -21, "a": -18, "f": -15, "p": -12, "n": -9, "µ": -6, "m": -3, "c": -2,
    "d": -1, "da": 1, "h": 2, "k": 3, "M": 6, "G": 9, "T": 12, "P": 15, "E": 18, "Z": 21, "Y": 24, "R": 27,
    "Q": 30,
}  # fmt: skip


@pytest.mark.parametrize(("prefix", "power"), PREFIXES.items())
def test_every_si_prefix_is_read(prefix, power):
    assert parse(f"1 {prefix}Hz", "Hz")[0] == pytest.approx(10.0**power, rel=1e-12)
    assert parse(f"1 {prefix}m", "m")[0] == pytest.approx(10.0**power, rel=1e-12)


def test_a_file_to_choose_from_is_told_in_the_same_way(tmp_path):
    file = tmp_path / "choice.toml"
    file.write_text(
        'base = "rig.toml"\n[wanted]\nshortest = 200 mm\nlongest = "240 mm"\ntolerence = "1 mm"\n'
    )
    with pytest.raises(InputError) as problem:
        load_choice(file)
    assert str(problem.value).splitlines()[1:] == [
        '  line 3, column 12: shortest: given 200 mm without quotes, expected shortest = "200 mm"',
        "  line 5, column 1: wanted.tolerence: [wanted] has no key 'tolerence', did you mean 'tolerance'?",
    ]


plain = st.recursive(
    st.integers(-9, 9) | st.booleans() | st.text("ab #]}[{,=\"'\\\n", max_size=6),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.text("ab.", min_size=1, max_size=3), inner, max_size=3)
    ),
    max_leaves=8,
)


@pytest.mark.long
@settings(max_examples=150, deadline=None)
@given(st.dictionaries(st.sampled_from(["a", "b", "c d", "e.f"]), plain, min_size=1, max_size=4))
def test_the_place_of_a_key_is_where_the_text_has_it(data):
    """Texts written by tomlkit, an independent library: each path is found, and where it is said to be."""
    text = tomlkit.dumps(data)
    assert tomllib.loads(text) == data
    found = places_of(text)
    lines = text.split("\n")

    def check(value, path):
        if path:
            line, column = found[path]
            rest = lines[line - 1][column - 1 :]
            key = path[-1]
            assert rest.startswith((key, f'"{key}"', "[")) or key.isdigit(), (path, rest)
        items = (
            value.items()
            if isinstance(value, dict)
            else enumerate(value, 1)
            if isinstance(value, list)
            else ()
        )
        for key, inner in items:
            check(inner, (*path, str(key)))

    check(data, ())
