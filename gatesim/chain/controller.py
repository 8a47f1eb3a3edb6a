"""What the controller calculates with: the formulas in use and the constants it holds."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from gatesim.chain.assembly import forces_of, gates_of, part_of, path_of
from gatesim.formula import FORMULAS, Constants, suited
from gatesim.ground.arrays import Array
from gatesim.motion import Belt, Force, Path, passage
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
    return holding(scenario, uncalibrated(scenario))


def holding(scenario: Scenario, held: Constants) -> Controller:
    """The controller with these constants, and the formulas' calibration lines."""
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


def uncalibrated(scenario: Scenario, passing: float | None = None) -> Constants:
    """What the controller holds beside calibration lines: of [formula], and nominal for the rest.

    The acceleration left out is the mean one of the nominal part while it passes gate 1; ``passing``: that
    one, where it is known already.
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
        acceleration = _mean_acceleration(scenario) if passing is None else passing
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


def _mean_acceleration(scenario: Scenario) -> float:
    values = nominal_values(scenario)
    part, path = part_of(scenario, values), path_of(values)
    return _passing(part, path, forces_of(scenario, values, part, path), float(gates_of(values)[0]))


@lru_cache(maxsize=64)
def _passing(part: Part, path: Path, forces: tuple[Force | Belt, ...], first: float) -> float:
    """Mean acceleration at gate 1; kept, as rigs that differ in what does not move the part share it."""
    motion = passage(part, path, forces, [first, first + float(part.length)])
    return mean_acceleration(motion.time[0], motion.speed[0])


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
