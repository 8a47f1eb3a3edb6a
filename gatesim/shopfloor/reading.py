"""Lengths from a log: as written, or as a formula makes them of the logged counts."""

import numpy as np

from gatesim.chain.controller import constants_of, controller_of, uncalibrated
from gatesim.formula import FORMULAS, Counts
from gatesim.ground.arrays import Array
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.shopfloor.log import Log


def formula_in_charge(scenario: Scenario, name: str | None) -> str:
    """The formula of that name, or the rig's first. Raises InputError where the rig cannot use it."""
    if name is None:
        return controller_of(scenario).formulas[0]
    if name not in FORMULAS:
        raise InputError(f"--formula: given {name!r}, expected one of {', '.join(FORMULAS)}")
    missing = FORMULAS[name].missing(uncalibrated(scenario))
    if missing:
        raise InputError(f"--formula: {name} needs {missing}, which {scenario.file} does not give")
    return name


def lengths_from_counts(log: Log, scenario: Scenario, formula: str) -> Array:
    """What the controller reads from the logged counts, m, shape (n,); NaN where it has no reading."""
    nothing = np.full(len(log), np.nan)
    names = ("dwell", "capture", "rear_capture", "third_capture")
    counts = Counts(*(log.numbers.get(name, nothing) for name in names))
    constants = constants_of(scenario, formula)
    return constants.gain * FORMULAS[formula].length(counts, constants) + constants.zero
