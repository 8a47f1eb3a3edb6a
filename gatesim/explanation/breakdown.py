"""The error of a reading as a sum of shares of its causes."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from gatesim.chain import pipeline
from gatesim.chain.nominal import controller_in, nominal_passage
from gatesim.chain.remembered import Remembered
from gatesim.explanation.effect import COUNTING, MOTION, Effect, effects_of
from gatesim.explanation.idealmotion import ideal_motion
from gatesim.explanation.phase import phase_interval
from gatesim.explanation.shapley import shapley
from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.ground.draw import Nominal
from gatesim.ground.errors import InputError
from gatesim.ground.outcome import Outcome
from gatesim.motion import passage
from gatesim.scenario.model import Scenario

Masks = NDArray[np.int64]


@dataclass(frozen=True)
class Contribution:
    """Part of the error that one effect accounts for, in m; positive reads long.

    ``low``, ``high``: where the share lies, by chance, between the most favourable and the
    most adverse phase of the clock (scan, light pulses, ...); both NaN for an effect
    without such a phase.
    """

    key: str
    name: str
    error: float
    low: float
    high: float

    KEYS: ClassVar[Keys] = {
        "key": "cause",
        "name": "name",
        "error": "error_m",
        "low": "low_m",
        "high": "high_m",
    }


@dataclass(frozen=True)
class Breakdown:
    """Error of one formula's nominal reading, in m: ``error`` = sum of shares + ``rest``.

    ``rest``: reading less true length of the rig with every effect taken out, which is zero
    but for rounding in the last digits of the arithmetic.
    """

    formula: str
    true_length: float
    reading: float
    shares: tuple[Contribution, ...]
    rest: float

    @property
    def error(self) -> float:
        """Reading minus true length."""
        return self.reading - self.true_length

    def biggest(self) -> Contribution:
        """The share of the largest size."""
        return max(self.shares, key=lambda share: abs(share.error))

    def share(self, key: str) -> float:
        """Share of the effect of that key; 0 where the rig does not have it."""
        return next((share.error for share in self.shares if share.key == key), 0.0)


def breakdown(
    scenario: Scenario,
    formula: str | None = None,
    effects: Sequence[Effect] | None = None,
    move: pipeline.Move | None = None,
    passed: pipeline.Measured | None = None,
) -> Breakdown:
    """Split the error of the nominal reading into the shares of its causes.

    Every combination of the effects is run through the pipeline, and each effect gets its
    Shapley value, so that nothing depends on an order. ``effects`` in an order of one's own;
    left out: all that the rig has. ``move`` as `gatesim.chain.pipeline.run` has it. ``passed``: the nominal
    passage, where it is known already. Raises InputError where there is no reading to explain.
    """
    move = Remembered() if move is None else move
    real = nominal_passage(scenario, move) if passed is None else passed
    formula = next(iter(real.readings)) if formula is None else formula
    reading = _reading(scenario, formula, real)
    present = effects_of(scenario, formula, real) if effects is None else tuple(effects)
    values = combinations(scenario, formula, real, present, move)
    if np.isnan(values).any():
        missing = [e.name for i, e in enumerate(present) if np.isnan(values[_but(i, len(present))])]
        said = f"taking out {missing[0]}" if missing else "taking out some of its effects together"
        raise InputError(
            f"{scenario.file}: {said} leaves no reading to compare with, expected a rig that still reads"
        )
    length = float(real.true_length[0])
    shares = []
    for effect, error in zip(present, shapley(values), strict=True):
        low, high = phase_interval(scenario, formula, real, effect.key, move)
        shares.append(Contribution(effect.key, effect.name, float(error), error + low, error + high))
    return Breakdown(formula, length, reading, tuple(shares), float(values[0]) - length)


def _but(cause: int, k: int) -> int:
    return (1 << k) - 1 - (1 << cause)


def _reading(scenario: Scenario, formula: str, real: pipeline.Measured) -> float:
    if formula not in real.readings:
        raise InputError(f"formula: given {formula!r}, expected one of {', '.join(real.readings)}")
    reading = float(real.readings[formula][0])
    if np.isnan(reading):
        word = Outcome(int(real.outcome[0])).word
        raise InputError(
            f"{scenario.file}: {formula} gives no reading ({word}), so there is no error to explain; "
            "see gatesim predict"
        )
    return reading


def combinations(
    scenario: Scenario,
    formula: str,
    real: pipeline.Measured,
    effects: Sequence[Effect],
    move: pipeline.Move = passage,
) -> Array:
    """Readings (2^k,) in m of all combinations of k effects; bit i of the index: effect i is left in.

    Effects that are inputs vary from trial to trial within one run of the pipeline; constants
    are applied to its counts; the others take a run each.
    """
    k = len(effects)
    masks = np.arange(2**k)
    runs = [i for i, e in enumerate(effects) if not e.inputs and e.constants is None]
    structure = sum(1 << i for i in runs)
    values = np.full(2**k, np.nan)
    for kept in np.unique(masks & structure):
        rows = masks[(masks & structure) == kept]
        passed = _run(scenario, formula, real, effects, rows, move)
        values[rows] = _read(scenario, formula, passed, effects, rows)
    return values


def _run(
    scenario: Scenario,
    formula: str,
    real: pipeline.Measured,
    effects: Sequence[Effect],
    rows: Masks,
    move: pipeline.Move,
) -> pipeline.Measured:
    """One run for combinations ``rows`` that differ in inputs and constants only."""
    nominal = {name: quantity.nominal for name, quantity in scenario.inputs().items()}
    quantised, changed = True, scenario
    inputs = {}
    for number, effect in enumerate(effects):
        kept = ((rows >> number) & 1).astype(bool)
        for name, neutral in effect.inputs:
            inputs[name] = np.where(kept, nominal[name], neutral)
        if kept[0]:
            continue
        if effect.key == MOTION.key:
            move = ideal_motion(formula, real, real.rig.constants[formula])
        elif effect.key == COUNTING.key:
            quantised = False
        elif effect.scenario is not None:
            changed = effect.scenario(changed)
    return pipeline.run(
        changed, Nominal(len(rows)), inputs, quantised=quantised, move=move, controller=controller_in(real)
    )


def _read(
    scenario: Scenario, formula: str, passed: pipeline.Measured, effects: Sequence[Effect], rows: Masks
) -> Array:
    """Readings (n,) with the constants that belong to each combination."""
    held = [number for number, effect in enumerate(effects) if effect.constants is not None]
    values = passed.readings[formula].copy()
    if not held:
        return values
    reads = ~np.isnan(values)
    wanted = rows & sum(1 << number for number in held)
    for combination in np.unique(wanted):
        constants = passed.rig.constants[formula]
        for number in held:
            correct = effects[number].constants
            if not (combination >> number) & 1 and correct is not None:
                constants = correct(constants, scenario)
        readings = pipeline.read({formula: constants}, passed.counts, reads)[formula]
        values = np.where(wanted == combination, readings, values)
    return values
