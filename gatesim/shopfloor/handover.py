"""What the person who programs the controller needs, gathered from a scenario."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from gatesim.chain import pipeline
from gatesim.chain.account.assumption import departures
from gatesim.chain.cautions import cautions
from gatesim.chain.controller import constants_of, controller_of
from gatesim.chain.pipeline import Measured
from gatesim.formula import FORMULAS, Constants
from gatesim.formula.integer.machine import run
from gatesim.formula.integer.program import LINT, OK, Word
from gatesim.ground.draw import Nominal, Streams
from gatesim.ground.errors import InputError
from gatesim.ground.outcome import Outcome
from gatesim.scenario import Scenario
from gatesim.scenario.fitted import fit_warning
from gatesim.shopfloor.decision import Limits, guarded
from gatesim.shopfloor.integer.build import Integer, Stated, build
from gatesim.shopfloor.integer.call import Call
from gatesim.shopfloor.integer.vectors import Vector, real_length, vectors
from gatesim.shopfloor.integer.window import Window, window
from gatesim.shopfloor.rigside import Wire, devices, settings, wiring

PASSAGES = 2000  # simulated passages of each reference part, for speeds and the bands of counts
SEED = 61131
LATE = 1.2  # times the longest passage at the least speed: after it a part is stuck or lost
SPEED_MARGIN = 0.05  # beyond the speeds met in the simulated passages


@dataclass(frozen=True)
class HandoverOptions:
    """What the caller chooses; None is settled from the scenario.

    ``lengths`` in m; ``unit`` of the result, m; ``std`` the standard uncertainty of a
    reading as qualified on the rig, m; ``guard_factor`` in standard uncertainties.
    """

    formula: str | None = None
    lengths: tuple[float, float] | None = None
    speeds: tuple[float, float] | None = None
    unit: float = 1e-6
    widest: Word = LINT
    std: float | None = None
    guard_factor: float = 2.0


@dataclass(frozen=True)
class Expected:
    """A reference part: nominal registers and reading (m), and the middle 95 % of simulated ones."""

    length: float
    registers: Mapping[str, int]
    bands: Mapping[str, tuple[int, int]]
    reading: float
    reading_band: tuple[float, float]
    status: int


@dataclass(frozen=True)
class Handover:
    """Everything that is handed over; lengths in m.

    ``tried`` simulated passages left all registers, and ``valid`` of them give a length;
    ``measured_error`` is the largest difference between the integer form and the formula
    over these and all vectors; ``guard`` the width of a guard band. ``used`` names the constants
    that the formula needs; ``devices``: what else stands along the path, and from where to where.
    """

    title: str
    note: str
    file: str
    date: str
    made: Integer
    call: Call
    window: Window | None
    constants: Constants
    stated: Stated
    table: tuple[Vector, ...]
    tried: int
    valid: int
    measured_error: float
    used: tuple[str, ...]
    wiring: tuple[Wire, ...]
    devices: tuple[tuple[str, str], ...]
    settings: tuple[tuple[str, str], ...]
    expected: tuple[Expected, ...]
    limits: Limits | None
    guard: float
    guard_text: str
    cautions: tuple[str, ...]


def gather(scenario: Scenario, options: HandoverOptions, today: date) -> Handover:
    """Simulate the reference parts, build and prove the integer form, work out the limits.

    Raises InputError where the range cannot be measured or calculated.
    """
    lengths = options.lengths or _lengths(scenario)
    parts = (lengths[0], _nominal_length(scenario, lengths), lengths[1])
    nominal = [pipeline.run(scenario, Nominal(1), {"part.length": x}) for x in parts]
    _check_measures(scenario, nominal)
    spread = [pipeline.run(scenario, Streams(SEED, 0, PASSAGES), {"part.length": x}) for x in parts]
    formula = options.formula or controller_of(scenario).formulas[0]
    constants = constants_of(scenario, formula)
    stated = _stated(scenario, options, lengths, [*nominal, *spread], formula)
    made = build(formula, constants, stated, scenario.counter.width, options.unit, options.widest)
    pairs = zip(nominal, spread, strict=True)
    expected = tuple(e for n, s in pairs if (e := _expected(made, n, s)) is not None)
    known = [(f"reference part {1e3 * e.length:.6g} mm", e.registers) for e in expected]
    std, bias, guard_text = _uncertainty(options, spread[1], formula)
    guard = options.guard_factor * std + bias
    limits = _limits(scenario, guard)
    allowed = None if limits is None else window(limits, options.unit)
    table = vectors(made, constants, stated, known, allowed)
    trials = [(r, run(made.program, r)) for passed in spread for r in _registers(made, passed)]
    valid = [(g.length, real_length(made, constants, r)) for r, g in trials if g.status == OK]
    valid_vectors = [(v.length, v.real) for v in table if v.status == OK]
    errors = [abs(length * options.unit - real) for length, real in (*valid, *valid_vectors)]
    return Handover(
        title=scenario.title or scenario.file,
        note=scenario.note,
        file=scenario.file,
        date=today.isoformat(),
        made=made,
        call=_call(scenario, made, stated, spread),
        window=allowed,
        constants=constants,
        stated=stated,
        table=table,
        tried=len(trials),
        valid=len(valid),
        measured_error=max(errors, default=0.0),
        used=FORMULAS[formula].constants,
        wiring=wiring([r.name for r in made.program.registers], scenario),
        devices=devices(scenario),
        settings=settings(scenario),
        expected=expected,
        limits=limits,
        guard=guard,
        guard_text=guard_text,
        cautions=(
            *_taken_for_granted(scenario, nominal[1], made, constants),
            *fit_warning(scenario.fitted, *parts),
            *(str(caution) for caution in cautions(scenario)),
        ),
    )


def _taken_for_granted(
    scenario: Scenario, nominal: Measured, made: Integer, constants: Constants
) -> tuple[str, ...]:
    """What the formula assumes in vain; nothing where a calibration line stands against it."""
    if (constants.gain, constants.zero) != (1.0, 0.0):
        return ()
    return tuple(departure.words for departure in departures(scenario, nominal, (made.program.formula,)))


def _check_measures(scenario: Scenario, nominal: list[pipeline.Measured]) -> None:
    """Raise InputError where a reference part is not measured: such a rig cannot be handed over."""
    for passed in nominal:
        outcome = Outcome(int(passed.outcome[0]))
        if outcome is not Outcome.MEASURED:
            length = 1e3 * float(passed.true_length[0])
            raise InputError(
                f"{scenario.file}: a part of {length:.6g} mm comes to '{outcome.word}', expected a rig that "
                "measures every reference part"
            )


def _stated(
    scenario: Scenario,
    options: HandoverOptions,
    lengths: tuple[float, float],
    runs: list[Measured],
    formula: str,
) -> Stated:
    readings = _readings(scenario, runs, formula)
    return Stated(lengths, options.speeds or _speeds(scenario, runs, FORMULAS[formula].gates), readings)


def _lengths(scenario: Scenario) -> tuple[float, float]:
    """A tenth about the lengths that are required, and the tolerance limits in any case."""
    lengths, asked = scenario.judged_lengths, scenario.requirement
    limits = [limit.nominal for limit in (asked.lower_limit, asked.upper_limit) if limit is not None]
    return min([0.9 * lengths[0], *limits]), max([1.1 * lengths[-1], *limits])


def _nominal_length(scenario: Scenario, lengths: tuple[float, float]) -> float:
    length = scenario.part.length.nominal
    return length if lengths[0] < length < lengths[1] else 0.5 * sum(lengths)


def _readings(scenario: Scenario, runs: list[Measured], formula: str) -> tuple[float, float]:
    """Least and greatest reading of the simulated passages."""
    found = [r[np.isfinite(r)] for passed in runs if (r := passed.readings.get(formula)) is not None]
    if not sum(r.size for r in found):
        raise InputError(f"{scenario.file}: the formula {formula} gives no reading of any reference part")
    merged = np.concatenate(found)
    return float(merged.min()), float(merged.max())


def _speeds(scenario: Scenario, runs: list[Measured], gates: int) -> tuple[float, float]:
    """Least and greatest speed of either end at the gates that the formula uses, with a margin."""
    found = np.concatenate(
        [
            passed.motion.speed[:, column].ravel()
            for passed in runs
            for column in (*passed.front[:gates], *passed.rear[:gates])
        ]
    )
    found = found[np.isfinite(found) & (found > 0.0)]
    if not found.size:
        raise InputError(
            f"{scenario.file}: no reference part passes the gates, so there is no range to hand over"
        )
    return float(found.min()) * (1.0 - SPEED_MARGIN), float(found.max()) * (1.0 + SPEED_MARGIN)


def _registers(made: Integer, passed: Measured) -> list[dict[str, int]]:
    """Registers of every passage that recorded all that the program reads."""
    names = [r.name for r in made.program.registers]
    values = np.stack([getattr(passed.counts, name) for name in names], axis=1)
    full = values[np.isfinite(values).all(axis=1)]
    return [dict(zip(names, map(int, row), strict=True)) for row in full]


def _expected(made: Integer, nominal: Measured, spread: Measured) -> Expected | None:
    """None where the nominal part leaves a register empty."""
    found = _registers(made, nominal)
    if not found:
        return None
    registers = found[0]
    bands = {}
    for name, value in registers.items():
        counts = getattr(spread.counts, name)
        counts = counts[np.isfinite(counts)]
        low, high = np.quantile(counts, [0.025, 0.975]) if counts.size else (value, value)
        bands[name] = (math.floor(low), math.ceil(high))
    got = run(made.program, registers)
    readings = spread.readings[made.program.formula]
    low, high = np.quantile(readings[np.isfinite(readings)], [0.025, 0.975])
    length, reading = float(nominal.true_length[0]), got.length * made.program.unit
    return Expected(length, registers, bands, reading, (float(low), float(high)), got.status)


def _uncertainty(options: HandoverOptions, spread: Measured, formula: str) -> tuple[float, float, str]:
    """Standard uncertainty and bias to guard against, m, and where they come from."""
    k = f"{options.guard_factor:g}"
    if options.std is not None:
        return options.std, 0.0, f"{k} u, u = {1e3 * options.std:.3g} mm as given"
    error = spread.readings[formula] - spread.true_length
    error = error[np.isfinite(error)]
    if error.size < 2:
        raise InputError(
            f"the formula {formula} gives no reading of the nominal part, so it cannot be handed over"
        )
    # An uncorrected bias is added to the expanded uncertainty (JCGM 100, F.2.4.5, memory).
    std, bias = float(np.std(error, ddof=1)), abs(float(np.mean(error)))
    figures = f"u = {1e3 * std:.3g} mm, bias {1e3 * bias:.3g} mm"
    return std, bias, f"{k} u + |bias|, simulated: {figures}; replace by the qualified u"


def _limits(scenario: Scenario, guard: float) -> Limits | None:
    asked = scenario.requirement
    if asked.lower_limit is None and asked.upper_limit is None:
        return None
    low = asked.lower_limit.nominal if asked.lower_limit else -math.inf
    high = asked.upper_limit.nominal if asked.upper_limit else math.inf
    return guarded(low, high, guard, 1.0)


def _call(scenario: Scenario, made: Integer, stated: Stated, spread: list[Measured]) -> Call:
    """How long a part takes and how much time is left to read the registers, by the simulated passages."""
    gate, names = scenario.gate, [r.name for r in made.program.registers]
    reach = gate.spacing if gate.rearm is None or "third_capture" not in names else gate.rearm
    longest = LATE * (stated.lengths[1] + reach.nominal) / stated.speeds[0]
    if gate.rearm is None:
        return Call(made.program, False, longest, math.nan)
    moments = [passed.counted.cycles for passed in spread]
    rooms = [c.rearm - np.max([getattr(c, name) for name in names], axis=0) for c in moments]
    found = np.concatenate([room[np.isfinite(room)] for room in rooms])
    return Call(made.program, True, longest, float(found.min()) if found.size else 0.0)


__all__ = ["Expected", "Handover", "HandoverOptions", "Wire", "gather", "real_length"]
