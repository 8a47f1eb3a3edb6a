"""The Structured Text through a compiler of IEC 61131-3 and gcc's sanitizers, neither of them ours."""

import dataclasses
import math
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from gatesim.formula import FORMULAS, Constants
from gatesim.formula.integer.machine import run as machine
from gatesim.formula.integer.program import DINT, LINT, OK, STUCK
from gatesim.scenario import load
from gatesim.shopfloor.handover import HandoverOptions, gather
from gatesim.shopfloor.integer.build import Stated, build
from gatesim.shopfloor.integer.structuredtext import structured_text
from gatesim.shopfloor.integer.vectors import vectors
from gatesim.shopfloor.integer.window import Window
from gatesim.view.package import package
from tests.iec_compiler import caller, compiled, needs_compiler, run

SCENARIOS = Path(__file__).parent.parent / "scenarios"
DAY = date(2026, 1, 31)

# A made-up rig; the values hold the compiled text against gatesim's own arithmetic, nothing else.
RIG = Constants(
    spacing=0.06, rearm=0.4, tick=1e-5, pitch=0.000157079632, acceleration=8.7, release_distance=0.25,
    gain=1.00137, zero=-2.3e-5,
)  # fmt: skip
STATED = Stated(lengths=(0.1, 0.25), speeds=(1.0, 5.0))
WINDOW = Window(150_000, 180_000)

pytestmark = [needs_compiler, pytest.mark.long]


def row(number: int, registers: list[int]) -> str:
    return " ".join(map(str, [number, *registers, *[0] * (4 - len(registers))]))


@pytest.mark.parametrize("widest", [LINT, DINT])
def test_every_formula_compiles_and_returns_its_vectors(widest: object, tmp_path: Path) -> None:
    made, texts, functions = [], [], []
    for formula in FORMULAS:
        constants = (
            dataclasses.replace(RIG, tick=math.nan) if FORMULAS[formula].counts_of == "travel" else RIG
        )
        unit = 1e-6 if widest is LINT else 1e-4
        lengths = STATED if widest is LINT else Stated((0.1, 0.13), (1.0, 1.5))
        form = build(formula, constants, lengths, unit=unit, widest=widest)  # type: ignore[arg-type]
        made.append((form, constants, lengths))
        texts.append(structured_text(form.program, "compiled", WINDOW))
        functions.append((form.program.name, len(form.program.registers), True))
    program = compiled(tmp_path, "\n".join(texts), caller(functions))
    rng = np.random.default_rng(7)
    lines, expected = [], []
    for number, (form, constants, lengths) in enumerate(made):
        for vector in vectors(form, constants, lengths, window=WINDOW):
            registers = [vector.registers[r.name] for r in form.program.registers]
            lines.append(row(number, registers))
            expected.append([vector.length, vector.status, int(bool(vector.accept))])
        for _ in range(2000):  # whatever the registers may hold
            top = rng.choice([300, 8000, 40_000, 2**32], len(form.program.registers))
            values = {
                r.name: int(rng.integers(0, high))
                for r, high in zip(form.program.registers, top, strict=True)
            }
            got = machine(form.program, values)
            lines.append(row(number, list(values.values())))
            expected.append([got.length, got.status, int(WINDOW.accepts(got.status, got.length))])
    found = run(program, lines)
    assert len(found) == len(lines) > 7 * 2000
    assert found == expected
    assert {status for _, status, _ in found} >= {0, 1, 2, 3, 4, 5, 6}
    if widest is LINT:
        assert {accept for _, status, accept in found if status == OK} == {0, 1}


DRIVER = """
static MEASURE_PART p;
static void at(long ms) { __CURRENT_TIME.tv_sec = ms / 1000; __CURRENT_TIME.tv_nsec = ms % 1000 * 1000000; }
int main(void) {
    long ms; int dark1, dark2, cleared; unsigned long r[4];
    MEASURE_PART_init__(&p, 0);
    while (scanf("%ld %d %d %d", &ms, &dark1, &dark2, &cleared) == 4
           && scanf("%lu %lu %lu %lu", r, r + 1, r + 2, r + 3) == 4) {
        at(ms);
        __SET_VAR(p., GATE_1_DARK,, dark1);
        __SET_VAR(p., GATE_2_DARK,, dark2);
        __SET_VAR(p., CLEARED,, cleared);
        REGISTERS
        MEASURE_PART_body__(&p);
        printf("%d %d %d %d %d %d %d\\n", (int) __GET_VAR(p.LENGTH), (int) __GET_VAR(p.STATUS),
            (int) __GET_VAR(p.ACCEPT_PART), (int) __GET_VAR(p.REJECT_PART), (int) __GET_VAR(p.STOP_FEED),
            (int) __GET_VAR(p.CALL_MAINTENANCE), (int) __GET_VAR(p.REARM));
    }
    return 0;
}
"""


@pytest.fixture(scope="module")
def chute(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[int], int]:
    """The call example of a chute's four-edge formula: program, registers of a good part, its length."""
    found = gather(load(SCENARIOS / "2-chute-slat.toml"), HandoverOptions(formula="four-edge"), DAY)
    files = package(found)
    text = "\n".join(files[name].decode() for name in sorted(files) if name.endswith(".st"))
    names = [r.name for r in found.made.program.registers]
    sets = "".join(f"__SET_VAR(p., {name.upper()},, r[{i}]);" for i, name in enumerate(names))
    main = DRIVER.replace("REGISTERS", sets)
    program = compiled(tmp_path_factory.mktemp("iec"), text, main)
    good = found.expected[1]
    return program, [good.registers[n] for n in names], round(good.reading / found.made.program.unit)


def play(program: Path, *moments: tuple[int, int, int, int, list[int]]) -> list[list[int]]:
    """Outputs (length, status, accept, reject, stop, maintenance, rearm) at each moment."""
    return run(program, [" ".join(map(str, [*given, *r, *[0] * (4 - len(r))])) for *given, r in moments])


def test_the_call_example_calls_once_when_all_edges_are_in(chute: tuple[Path, list[int], int]) -> None:
    program, (dwell, capture, rear), length = chute
    none = [0, 0, 0]
    found = play(
        program,
        (0, 0, 0, 0, none),
        (10, 1, 0, 0, none),
        (40, 1, 1, 0, [0, capture, 0]),
        (130, 0, 1, 0, [dwell, capture, 0]),
        (160, 0, 0, 0, [dwell, capture, rear]),
        (170, 0, 0, 0, [dwell, capture, rear]),
        (200, 0, 0, 0, none),
    )
    assert [answer[0] for answer in found] == [0, 0, 0, 0, length, length, length]
    assert found[4] == [length, 0, 1, 0, 0, 0, 0]
    # registers that change after the call do not matter: it was called once
    again = play(
        program, (10, 1, 0, 0, none), (160, 0, 0, 0, [dwell, capture, rear]), (170, 0, 0, 0, [1, 1, 1])
    )
    assert again[2][:2] == [length, 0]


def test_a_part_that_sticks_in_gate_1_stops_the_feed_until_cleared(
    chute: tuple[Path, list[int], int],
) -> None:
    program, (dwell, capture, rear), length = chute
    none = [0, 0, 0]
    found = play(
        program,
        (0, 1, 0, 0, none),
        (100, 1, 1, 0, [0, capture, 0]),
        (5000, 1, 1, 0, [0, capture, 0]),
        (6000, 0, 0, 0, none),
        (6100, 0, 0, 1, none),
        (6200, 1, 0, 0, none),
        (6400, 0, 0, 0, [dwell, capture, rear]),
    )
    assert found[1][4] == 0
    assert found[2][:6] == [0, STUCK, 0, 1, 1, 0]
    assert found[3][4] == 1
    assert found[4][4] == 0
    assert found[6] == [length, 0, 1, 0, 0, 0, 0]


def test_a_part_lost_before_gate_2_is_rejected_and_three_in_a_row_call_for_maintenance(
    chute: tuple[Path, list[int], int],
) -> None:
    program, (dwell, _, _), _ = chute
    moments = []
    for number in range(3):
        start = 10_000 * number
        moments += [(start, 1, 0, 0, [0, 0, 0]), (start + 130, 0, 0, 0, [dwell, 0, 0])]
        moments += [(start + 5000, 0, 0, 0, [dwell, 0, 0]), (start + 6000, 0, 0, 0, [0, 0, 0])]
    found = play(program, *moments)
    assert [answer[1] for answer in found[2::4]] == [3, 3, 3]
    assert [answer[3] for answer in found[2::4]] == [1, 1, 1]
    assert [answer[5] for answer in found[2::4]] == [0, 0, 1]


@pytest.mark.parametrize("path", sorted(SCENARIOS.glob("[1-6]-*.toml")), ids=lambda p: p.stem)
def test_what_is_handed_over_compiles_together_with_its_call(path: Path, tmp_path: Path) -> None:
    found = gather(load(path), HandoverOptions(), DAY)
    sly = dataclasses.replace(found, title="B\u00fcgel (* /* *) // \u6f22 \x07\x1b[0m x := 1; (*) /*/ (**")
    files = package(sly)
    text = "\n".join(files[name].decode() for name in sorted(files) if name.endswith(".st"))
    program = found.made.program
    accepts = found.window is not None
    ready = compiled(tmp_path, text, caller([(program.name, len(program.registers), accepts)]))
    lines = [row(0, [v.registers[r.name] for r in program.registers]) for v in found.table]
    expected = [[v.length, v.status, int(v.accept) if accepts else 9] for v in found.table]
    assert run(ready, lines) == expected
