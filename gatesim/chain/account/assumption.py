"""What a formula takes for granted, and what it costs that this rig is different."""

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from gatesim.chain.pipeline import Measured
from gatesim.formula import FORMULAS, REGISTERS, Counts
from gatesim.ground.arrays import Array, first_of
from gatesim.ground.data import Keys
from gatesim.ground.text import mm
from gatesim.scenario.model import Scenario

MATTERS = 1e-4
"""Share of the length from which a departure is worth a sentence."""


@dataclass(frozen=True)
class Departure:
    """The motion of a rig is not the one that a formula takes for granted.

    ``error``: what the formula would read of the nominal part, less its true length, if all else were
    perfect: edges at the very ends, true distances, fractions of counts; m.
    """

    formula: str
    assumes: str
    error: float

    KEYS: ClassVar[Keys] = {"formula": "formula", "assumes": "takes_for_granted", "error": "error_m"}

    @property
    def words(self) -> str:
        """A sentence."""
        side = "short" if self.error < 0.0 else "long"
        return (
            f"{self.formula} takes for granted {self.assumes}. This rig is different, which alone makes it "
            f"read {mm(abs(self.error))} {side}."
        )


def departures(scenario: Scenario, passed: Measured, formulas: tuple[str, ...]) -> tuple[Departure, ...]:
    """Formulas whose assumption the motion of the first trial breaks by more than `MATTERS`.

    An encoder counts travel, which no motion can falsify: none for such a rig.
    """
    if scenario.counter.source.turned_by:
        return ()
    held = next(iter(passed.rig.constants.values()))  # but for its line, which all have
    counts = _perfect(held.tick, passed)
    gates = [first_of(gate) for gate in passed.rig.gates]
    distances = {"spacing": gates[1] - gates[0]} | ({"rearm": gates[2] - gates[0]} if len(gates) > 2 else {})
    release = held.release_distance if np.isnan(held.release_distance) else gates[0]
    true, length = replace(held, **distances, release_distance=release), float(passed.true_length[0])
    found = []
    for name in formulas:
        error = float(FORMULAS[name].length(counts, true)[0]) - length
        if abs(error) > MATTERS * length:
            found.append(Departure(name, FORMULAS[name].assumes, error))
    return tuple(found)


def _perfect(tick: float, passed: Measured) -> Counts:
    """Fractional counts of the first trial, of the moments at which the part's very ends pass the gates."""
    time = passed.motion.time[:1]
    start = time[:, passed.front[0]]

    def register(name: str) -> Array:
        latch = REGISTERS[name]
        columns = passed.front if latch.dark else passed.rear
        if latch.gate > len(columns):
            return np.full(1, np.nan)
        moment: Array = (time[:, columns[latch.gate - 1]] - start) / tick
        return moment

    return Counts(**{name: register(name) for name in REGISTERS})
