"""The step in which a gauge shows lengths."""

import math

import numpy as np

from gatesim.chain.controller import constants_of
from gatesim.formula import FORMULAS, Counts
from gatesim.ground.arrays import Array
from gatesim.scenario import Scenario
from gatesim.shopfloor.log import Log

FINEST = 1e-12  # m
WAYS = 3
SHARE_ALLOWED = 0.05  # of the tolerance: ISO 22514-7 (from memory)


def step_of(log: Log) -> float:
    """Step of the length column in m: the last decimal place written, or a coarser step all readings keep.

    Coarser only where readings of one part differ in three ways or more: parts may be whole
    millimetres long without the display being so coarse. 0 where the log does not say.
    """
    place = log.places.get("length", 0.0)
    lengths = log.numbers["length"]
    if not place or place < FINEST:  # no display, but numbers as a computer prints them
        return place
    nothing = ("",) * len(log)
    references = log.numbers.get("reference", np.full(len(log), np.nan))
    keys = zip(log.labels.get("part", nothing), np.nan_to_num(references).tolist(), strict=True)
    first: dict[tuple[str, float], float] = {}
    apart = set()
    for key, length in zip(keys, lengths.tolist(), strict=True):
        if math.isfinite(length):
            apart.add(abs(round((length - first.setdefault(key, length)) / place)))
    steps = sorted(apart - {0})
    return place * (math.gcd(*steps) if len(steps) >= WAYS else 1)


def count_step(log: Log, scenario: Scenario, formula: str) -> float:
    """How far a reading moves with one count of a register more, m; the largest of the median steps."""
    nothing = np.full(len(log), np.nan)
    constants = constants_of(scenario, formula)
    names = ("dwell", "capture", "rear_capture", "third_capture")
    columns = {name: log.numbers.get(name, nothing) for name in names}

    def read(moved: str | None) -> Array:
        counts = Counts(*(columns[name] + (name == moved) for name in names))
        return constants.gain * FORMULAS[formula].length(counts, constants)

    steps = []
    for register in FORMULAS[formula].registers:
        step = np.abs(read(register) - read(None))
        if np.isfinite(step).any():
            steps.append(float(np.nanmedian(step)))
    return max(steps, default=0.0)


def standard_uncertainty(step: float) -> float:
    """Standard uncertainty of a reading in steps, rectangular (JCGM 100, F.2.2.1)."""
    return step / math.sqrt(12.0)
