"""What can make a reading differ from the true length, and how to do without each.

Every effect is a way to take it out of a rig: by changing the scenario, by setting inputs
of the pipeline to zero, or by correcting a constant of the controller. Two more are
arguments of the pipeline: the motion, and the rounding to whole counts.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from gatesim.chain.pipeline import Measured
from gatesim.counter import AT_ONCE
from gatesim.formula import FORMULAS, Constants
from gatesim.ground.quantity import stated
from gatesim.inputfilter import UNFILTERED
from gatesim.part import SQUARE
from gatesim.scenario.model import Scenario
from gatesim.sensor import WITHOUT_WIDTH

HALF = stated("50 %")


@dataclass(frozen=True)
class Effect:
    """One cause of an error; of the ways to take it out, those that are None do not apply.

    ``scenario``: the same scenario without it (the very same object where it has no such
    effect). ``inputs``: names of pipeline inputs and the value at which each is without
    effect. ``constants``: the controller's constants as they should be.
    """

    key: str
    name: str
    scenario: Callable[[Scenario], Scenario] | None = None
    inputs: tuple[tuple[str, float], ...] = ()
    constants: Callable[[Constants, Scenario], Constants] | None = None


def _point_beam(s: Scenario) -> Scenario:
    if all(sensor.beam == WITHOUT_WIDTH for sensor in s.sensors):
        return s  # covered or not: no threshold in between can matter
    update = {"beam": WITHOUT_WIDTH, "dark_fraction": HALF, "light_fraction": HALF}
    return s.model_copy(update={"sensor": s.sensor.with_each(lambda sensor: update)})


def _reach(s: Scenario) -> float:
    """Greatest distance of any gate's light from the part's axis in m."""
    return max(sensor.beam.reach for sensor in s.sensors)


def _square_ends(s: Scenario) -> Scenario:
    part = s.part
    square_ended = part.front == part.rear == SQUARE and not part.openings
    if square_ended and (part.height is None or 0.5 * part.height.nominal > _reach(s)):
        return s  # higher than the beam: nothing but its square ends is seen
    update = {"front": SQUARE, "rear": SQUARE, "openings": (), "height": None}
    return s.model_copy(update={"part": part.model_copy(update=update)})


def _continuous_light(s: Scenario) -> Scenario:
    if all(sensor.sampling_period is None for sensor in s.sensors):
        return s
    update = {"sampling_period": None, "samples_in_row": 1}
    return s.model_copy(update={"sensor": s.sensor.with_each(lambda sensor: update)})


def _no_filter(s: Scenario) -> Scenario:
    """Without the filter and without the chatter that it is there for."""
    if s.filter == UNFILTERED and all(sensor.chatter is None for sensor in s.sensors):
        return s
    sensor = s.sensor.with_each(lambda sensor: {"chatter": None})
    return s.model_copy(update={"filter": UNFILTERED, "sensor": sensor})


def _at_once(s: Scenario) -> Scenario:
    if s.counter.timing == AT_ONCE:
        return s
    counter = s.counter.model_copy(update={"timing": AT_ONCE})
    return s.model_copy(update={"counter": counter})


def _alone(s: Scenario) -> Scenario:
    return s if s.follower is None else s.model_copy(update={"follower": None})


def _true_distances(constants: Constants, s: Scenario) -> Constants:
    gate = s.gate
    return replace(
        constants,
        spacing=gate.spacing.nominal,
        rearm=constants.rearm if gate.rearm is None else gate.rearm.nominal,
        release_distance=constants.release_distance
        if math.isnan(constants.release_distance)
        else gate.first.nominal,
    )


def _no_calibration(constants: Constants, s: Scenario) -> Constants:
    return replace(constants, gain=1.0, zero=0.0)


MOTION = Effect("motion", "acceleration during the dwell")
COUNTING = Effect("counting", "rounding to whole counts")


def _structure(s: Scenario) -> tuple[Effect, ...]:
    """Effects that are taken out by another scenario, whether this one has them or not."""
    return (
        Effect("beam", "beam and threshold", scenario=_point_beam),
        Effect("shape", "shape of the part", scenario=_square_ends),
        Effect("sampling", "pulsed light", scenario=_continuous_light),
        Effect("filter", "input filter", scenario=_no_filter),
        Effect("timing", s.counter.timing.effect, scenario=_at_once),
        Effect("follower", "the next part", scenario=_alone),
    )


_INPUTS = (
    ("tilt", "tilt", {"part.tilt": 0.0}),
    (
        "response",
        "dark and light delay",
        {"sensor.dark_delay": 0.0, "sensor.light_delay": 0.0, "sensor.time_constant": 0.0},
    ),
    ("angle", "beam off the square", {"sensor.angle": 0.0}),
)

_LIMIT = ("limit", "frequency limit of the count input", {"counter.input_frequency_limit": math.inf})

_CONSTANTS = (
    Effect("distances", "distances the controller holds", constants=_true_distances),
    Effect("calibration", "calibration line", constants=_no_calibration),
)


def _by_gate(scenario: Scenario, effect: Effect) -> list[Effect]:
    """An effect of the sensors as one a gate, where they are not all alike."""
    gates = dict.fromkeys(path.partition("@")[2] for path, _ in effect.inputs)
    if "" in gates or not any(scenario.sensor.differing(int(gate)) for gate in gates):
        return [effect]
    return [
        replace(
            effect,
            key=f"{effect.key}@{gate}",
            name=f"{effect.name}, gate {gate}",
            inputs=tuple(pair for pair in effect.inputs if pair[0].endswith(f"@{gate}")),
        )
        for gate in gates
    ]


def effects_of(scenario: Scenario, formula: str, real: Measured) -> tuple[Effect, ...]:
    """The effects that this rig has under this formula, motion first and counting last."""
    found = [MOTION]
    found += [
        e for e in _structure(scenario) if e.scenario is not None and e.scenario(scenario) is not scenario
    ]
    nominal = {name: quantity.nominal for name, quantity in scenario.inputs().items()}
    source = [(i.key, i.name, dict(i.inputs)) for i in scenario.counter.source.imperfections]
    for key, name, neutral in (*_INPUTS, *source, _LIMIT):
        inputs = tuple(
            (path, value)
            for path in nominal
            for of, value in neutral.items()
            if path.split("@")[0] == of and nominal[path] != value
        )
        if inputs and (key != "limit" or bool((real.counted.every > 1.0).any())):
            found += _by_gate(scenario, Effect(key, name, inputs=inputs))
    held, used = real.rig.constants[formula], (*FORMULAS[formula].constants, "gain", "zero")
    for effect in _CONSTANTS:
        if effect.constants is not None:
            right = effect.constants(held, scenario)
            if any(getattr(right, key) != getattr(held, key) for key in used):
                found.append(effect)
    return (*found, COUNTING)
