"""What the controller calculates with: the formulas in use and the constants it holds."""

import math
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from gatesim.chain.assembly import forces_of, gates_of, part_of, path_of
from gatesim.chain.sidebyside import Question, answered
from gatesim.formula import FORMULAS, Constants, suited
from gatesim.ground.arrays import Array
from gatesim.motion import Belt, Force, Path
from gatesim.part import Part
from gatesim.scenario.model import Scenario


@dataclass(frozen=True)
class Controller:
    """Constants of each formula to evaluate by its name, the one in charge first.

    They differ in the calibration line only, which is the formula's own.
    """

    constants: Mapping[str, Constants]

    @property
    def formulas(self) -> tuple[str, ...]:
        """Names of the formulas, the one in charge first."""
        return tuple(self.constants)


@lru_cache(maxsize=512)
def controller_of(scenario: Scenario) -> Controller:
    """What the controller of this scenario holds; computed once, as every block of a study asks."""
    held = uncalibrated(scenario)
    names = _formulas_of(scenario, held)
    return Controller({name: _with_line(held, scenario, name, names[0]) for name in names})


def constants_of(scenario: Scenario, formula: str) -> Constants:
    """The constants that a formula, in use or not, is read with: see `uncalibrated`, and its line."""
    return _with_line(uncalibrated(scenario), scenario, formula, controller_of(scenario).formulas[0])


def _with_line(held: Constants, scenario: Scenario, formula: str, charge: str) -> Constants:
    line = scenario.formula.line(formula, charge)
    return replace(held, gain=line.gain.nominal, zero=line.zero.nominal)


def nominal_values(scenario: Scenario) -> dict[str, float]:
    """Every input of a trial at its nominal value, SI."""
    return {name: quantity.nominal for name, quantity in scenario.inputs().items()}


def left_to_motion(scenario: Scenario) -> bool:
    """Whether the acceleration that the controller holds is the nominal part's own."""
    return scenario.formula.acceleration is None and not scenario.counter.source.turned_by


def uncalibrated(scenario: Scenario) -> Constants:
    """What the controller holds beside calibration lines: of [formula], and nominal for the rest.

    The acceleration left out is the mean one of the nominal part while it passes gate 1.
    """
    formula, gate, source = scenario.formula, scenario.gate, scenario.counter.source
    nan = math.nan
    spacing = gate.spacing if formula.spacing is None else formula.spacing
    rearm = gate.rearm if formula.rearm is None else formula.rearm
    release = gate.first if formula.release_distance is None else formula.release_distance
    acceleration = nan
    if formula.acceleration is not None:
        acceleration = formula.acceleration.nominal
    elif left_to_motion(scenario):
        (acceleration,) = _passing([_nominal(scenario)])
    return Constants(
        spacing=spacing.nominal,
        rearm=nan if gate.rearm is None or rearm is None else rearm.nominal,
        tick=source.tick,
        pitch=source.pitch,
        acceleration=acceleration,
        release_distance=release.nominal if _released_from_rest(scenario) else nan,
    )


def _released_from_rest(scenario: Scenario) -> bool:
    driven = any(force.drives for force in scenario.forces)
    return scenario.path.release_speed.nominal == 0.0 and not driven


def held_together(scenarios: Sequence[Scenario]) -> None:
    """Have what the controllers of all of these hold at hand, with one motion side by side."""
    left = [scenario for scenario in scenarios if left_to_motion(scenario)]
    _passing([_nominal(scenario) for scenario in left])


def keep_passing(scenario: Scenario, acceleration: float) -> None:
    """Keep the mean acceleration of the nominal part while it passes gate 1, worked out by others."""
    _keep(_nominal(scenario), acceleration)


Nominally = tuple[Part, Path, tuple[Force | Belt, ...], float]
"""Part, path, forces and the first gate's position, all nominal."""


@lru_cache(maxsize=512)
def _nominal(scenario: Scenario) -> Nominally:
    values = nominal_values(scenario)
    part, path = part_of(scenario, values), path_of(values)
    return part, path, forces_of(scenario, values, part, path), float(gates_of(values)[0])


MOST_KEPT = 256
_KEPT: OrderedDict[Nominally, float] = OrderedDict()
"""Mean accelerations at gate 1: rigs that differ in what does not move the part share one."""


def _keep(rig: Nominally, acceleration: float) -> None:
    _KEPT[rig] = acceleration
    while len(_KEPT) > MOST_KEPT:
        _KEPT.popitem(last=False)


def _passing(rigs: Sequence[Nominally]) -> list[float]:
    """Mean acceleration of each at gate 1, of those not known yet by one motion side by side."""
    found = {rig: _KEPT[rig] for rig in rigs if rig in _KEPT}
    new = list(dict.fromkeys(rig for rig in rigs if rig not in found))
    asked = [
        Question(part, path, forces, np.array([[first, first + float(part.length)]]))
        for part, path, forces, first in new
    ]
    for rig, motion in zip(new, answered(asked), strict=True):
        found[rig] = mean_acceleration(motion.time[0], motion.speed[0])
        _keep(rig, found[rig])
    return [found[rig] for rig in rigs]


def mean_acceleration(time: Array, speed: Array) -> float:
    """Between two moments (2,)."""
    return float((speed[1] - speed[0]) / (time[1] - time[0]))


def _formulas_of(scenario: Scenario, constants: Constants) -> tuple[str, ...]:
    """Names of the formulas to evaluate, the one in charge first.

    Without a choice in the scenario: all for which the rig has the constants.
    """
    if scenario.formula.use is not None:
        return scenario.formula.use
    names = suited(travel=scenario.counter.source.turned_by != "")
    return tuple(name for name in names if not FORMULAS[name].missing(constants))
