"""The integer forms: what is proved, what is printed and what is calculated are one thing."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatesim.formula import FORMULAS, Constants
from gatesim.formula.integer.bounds import NotProved, prove
from gatesim.formula.integer.machine import run, truncated
from gatesim.formula.integer.program import DINT, LINT, OK, UDINT, Constant, Program, Register, Step, Word
from gatesim.ground.errors import InputError
from gatesim.shopfloor.integer.build import Integer, Stated, build
from gatesim.shopfloor.integer.structuredtext import structured_text
from gatesim.shopfloor.integer.vectors import passage, real_length, vectors, vectors_csv
from tests.structured_text import Fault, parse

# A made-up rig; the checks hold the integer forms against the same formulas in real numbers.
RIG = Constants(
    spacing=0.06, rearm=0.4, tick=1e-5, pitch=0.000157079632, acceleration=8.7, release_distance=0.25
)
CALIBRATED = dataclasses.replace(RIG, gain=1.00137, zero=-2.3e-5)
STATED = Stated(lengths=(0.1, 0.25), speeds=(1.0, 5.0))


def rig(formula: str, constants: Constants = CALIBRATED) -> Constants:
    """A clock, or the encoder for the formula that needs one."""
    return dataclasses.replace(constants, tick=math.nan) if formula == "encoder-pitch" else constants


def made(formula: str, constants: Constants = CALIBRATED, **extra: object) -> Integer:
    return build(formula, rig(formula, constants), STATED, **extra)  # type: ignore[arg-type]


def made_encoder(formula: str) -> tuple[Integer, Constants]:
    constants = dataclasses.replace(RIG, tick=math.nan)
    return build(formula, constants, STATED), constants


def test_encoder_counts_do_not_depend_on_speed() -> None:
    for formula in ("encoder-pitch", "spacing-dwell"):
        form, constants = made_encoder(formula)
        low, high = form.ranges.dwell
        assert low == math.floor(0.98 * 0.1 / RIG.pitch)
        assert high == math.ceil(1.02 * 0.25 / RIG.pitch)
        got = run(form.program, passage(form, constants, 0.15, 2.0))
        assert got.status == OK
        assert got.length * 1e-6 == pytest.approx(0.15, abs=2.5 * RIG.pitch)


@pytest.mark.long
@pytest.mark.parametrize("formula", FORMULAS)
def test_structured_text_returns_what_the_vectors_say(formula: str) -> None:
    form = made(formula)
    function = parse(structured_text(form.program))
    table = vectors(form, rig(formula), STATED)
    assert len(table) > 20
    statuses = set()
    for vector in table:
        length, outputs = function(**vector.registers)
        assert (length, outputs["Status"]) == (vector.length, vector.status), vector
        statuses.add(vector.status)
    assert OK in statuses
    assert {1, 2} <= statuses


@pytest.mark.long
@pytest.mark.parametrize("formula", FORMULAS)
def test_structured_text_and_machine_agree_on_any_register_values(formula: str) -> None:
    form = made(formula)
    function = parse(structured_text(form.program))
    rng = np.random.default_rng(7)
    for _ in range(400):
        registers = {
            r.name: int(rng.integers(0, rng.choice([300, 8000, 40_000, 2**32])))
            for r in form.program.registers
        }
        got = run(form.program, registers)
        length, outputs = function(**registers)  # faults on any overflow or division by zero
        assert (length, outputs["Status"]) == (got.length, got.status)
        assert got.overflow == ""


@pytest.mark.parametrize("widest", [LINT, DINT])
@pytest.mark.parametrize("formula", ["spacing-dwell", "known-acceleration", "rear-edge", "encoder-pitch"])
def test_every_intermediate_is_proved_to_fit(formula: str, widest: object) -> None:
    form = made(formula, widest=widest, unit=1e-5)
    assert form.proof.holds
    assert form.program.word.bits <= widest.bits  # type: ignore[attr-defined]
    assert all(step.bits_spare >= 0 for step in form.proof.steps)


@pytest.mark.long
@pytest.mark.parametrize("formula", FORMULAS)
@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_values_stay_within_the_proved_intervals(formula: str, data: st.DataObject) -> None:
    form = made(formula)
    spans = {"dwell": form.ranges.dwell, "capture": form.ranges.capture, "third_capture": form.ranges.third}
    registers = {}
    for register in form.program.registers:
        if register.name == "rear_capture":
            low, high = form.ranges.transit
            registers["rear_capture"] = registers["dwell"] + data.draw(st.integers(low, high))
        else:
            registers[register.name] = data.draw(st.integers(*spans[register.name]))
    got = run(form.program, registers)
    assert got.overflow == ""
    if got.status == OK:
        real = real_length(form, CALIBRATED, registers)
        # the bound on the error the integer form adds, with room for the rounding of floats
        assert abs(got.length * form.program.unit - real) <= form.error * (1 + 1e-9) + 1e-15
        assert form.proof.result.low <= got.length <= form.proof.result.high


@pytest.mark.long
def test_no_dwell_and_capture_in_the_range_overflows_or_strays_exhaustively() -> None:
    slow = dataclasses.replace(RIG, tick=2e-4)
    stated = Stated((0.1, 0.25), (1.0, 5.0))
    form = build("spacing-dwell", slow, stated, width=16)
    (t0, t1), (c0, c1) = form.ranges.dwell, form.ranges.capture or (0, 0)
    assert (t1 - t0) * (c1 - c0) > 200_000
    worst = 0.0
    for dwell in range(t0, t1 + 1):
        for capture in range(c0, c1 + 1):
            got = run(form.program, {"dwell": dwell, "capture": capture})
            assert got.overflow == ""
            if got.status == OK:
                worst = max(worst, abs(got.length * form.program.unit - slow.spacing * dwell / capture))
    assert 0.4e-6 < worst <= form.error


@pytest.mark.parametrize("formula", FORMULAS)
def test_the_integer_form_reads_a_steady_passage_to_the_quantisation(formula: str) -> None:
    for length in (0.1, 0.17, 0.25):
        # at 2 m/s a count is 20 um of travel; the formula that takes an acceleration is given next to none
        constants = rig(formula, dataclasses.replace(RIG, acceleration=1e-4))
        form = made(formula, constants)
        got = run(form.program, passage(form, constants, length, 2.0))
        if formula == "fixed-release":
            continue  # its equation holds for a part released from rest, not at a steady speed
        assert got.status == OK
        assert got.length * form.program.unit == pytest.approx(length, abs=2.5e-4)


def test_guards_name_what_is_wrong() -> None:
    form = made("four-edge")
    good = passage(form, CALIBRATED, 0.15, 2.0)
    assert run(form.program, good).status == OK
    assert run(form.program, {**good, "dwell": 0}).status == 1
    assert run(form.program, {**good, "dwell": 60_000}).status == 2
    assert run(form.program, {**good, "capture": 0}).status == 3
    assert run(form.program, {**good, "capture": 50_000}).status == 4
    assert run(form.program, {**good, "rear_capture": good["dwell"]}).status == 5
    assert run(form.program, {**good, "rear_capture": 2**32 - 1}).status == 5
    third = made("three-gates")
    late = {**passage(third, CALIBRATED, 0.15, 2.0), "third_capture": 2**31}
    assert run(third.program, late).status == 6
    assert run(form.program, {**good, "capture": form.ranges.capture[0]}).status == 7  # type: ignore[index]


def test_a_sixteen_bit_register_that_cannot_hold_the_range_is_refused() -> None:
    with pytest.raises(InputError, match=r"dwell reaches 127500 counts .* 16 bits"):
        build("spacing-dwell", dataclasses.replace(RIG, tick=2e-6), STATED, width=16)


def test_words_too_narrow_are_refused_with_what_is_missing() -> None:
    with pytest.raises(InputError, match="needs 35 bits in DINT"):
        made("four-edge", widest=DINT, unit=1e-5)
    with pytest.raises(InputError, match="may be wrong by"):
        made("fixed-release", widest=DINT, unit=1e-5)


def test_a_formula_whose_constant_is_missing_is_refused() -> None:
    with pytest.raises(InputError, match="needs acceleration"):
        made("known-acceleration", dataclasses.replace(RIG, acceleration=math.nan))


def test_the_narrowest_sufficient_word_is_taken() -> None:
    coarse = build("spacing-dwell", RIG, STATED, unit=1e-4)
    fine = build("spacing-dwell", RIG, STATED, unit=1e-7)
    assert coarse.program.word is DINT
    assert fine.program.word is LINT


def test_identity_calibration_writes_no_step() -> None:
    plain, trimmed = made("spacing-dwell", RIG).program, made("spacing-dwell", CALIBRATED).program
    assert not {"GAIN", "ZERO"} & {c.name for c in plain.constants}
    assert {"GAIN", "ZERO"} <= {c.name for c in trimmed.constants}


def test_division_truncates_towards_zero_as_the_language_says() -> None:
    # IEC 61131-3, integer division: 7/3 = 2, (-7)/3 = -2 (from memory).
    assert truncated(7, 3) == 2
    assert truncated(-7, 3) == -2
    assert truncated(7, -3) == -2


def tiny(op: str, left: int, right: int) -> Program:
    """DINT program of one operation on constants."""
    constants = tuple(Constant(n, DINT, v, float(v), "") for n, v in (("A", left), ("B", right)))
    return Program(
        "Tiny",
        "",
        "",
        (Register("x", UDINT, ""),),
        constants,
        (Step("y", DINT, op, "A", "B"),),
        "y",
        1.0,  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(
    ("left", "right", "expected"),
    [(7, 2, 4), (-7, 2, -4), (5, 3, 2), (-5, 3, -2), (4, 3, 1), (-4, 3, -1), (0, 9, 0)],
)
def test_division_rounds_to_nearest_halves_away_from_zero(left: int, right: int, expected: int) -> None:
    program = tiny("divide-signed", left, right)
    assert run(program, {"x": 0}).length == expected
    assert parse(structured_text(program))(x=0)[0] == expected


def test_overflow_is_detected_by_machine_proof_and_text_alike() -> None:
    program = tiny("multiply", 70_000, 70_000)
    got = run(program, {"x": 0})
    assert got.overflow == "y"
    assert got.length == (70_000**2 + 2**31) % 2**32 - 2**31
    assert not prove(program).holds
    with pytest.raises(Fault, match="overflows DINT"):
        parse(structured_text(program))(x=0)


def test_rounding_before_division_is_checked_for_overflow_too() -> None:
    program = tiny("divide", 2**31 - 1, 9)
    assert run(program, {"x": 0}).overflow == "y"
    assert not prove(program).holds


def test_a_divisor_that_may_be_zero_is_not_proved() -> None:
    with pytest.raises(NotProved, match="may be as low as 0"):
        prove(tiny("divide", 5, 0))


def test_words_wrap_as_two_s_complement() -> None:
    assert Word("INT", 16, True).wrap(32768) == -32768
    assert DINT.wrap(-(2**31) - 1) == 2**31 - 1
    assert UDINT.wrap(-1) == 2**32 - 1


@pytest.mark.long
def test_names_differ_in_more_than_case_and_text_is_plain() -> None:
    for formula in FORMULAS:
        text = structured_text(made(formula).program, "Tüte *) sneaky ²")
        assert text.isascii()
        parse(text)  # a name declared twice, whatever its case, is a fault


def test_the_vector_table_is_the_same_every_time_and_has_the_edges() -> None:
    form = made("spacing-dwell")
    first, second = (vectors_csv(form, vectors(form, CALIBRATED, STATED)) for _ in range(2))
    assert first == second
    for words in ("nothing recorded", "largest of its type", "one above the range", "corner", "4294967295"):
        assert words in first
