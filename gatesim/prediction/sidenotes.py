"""What sensor, filter and timing do to a reading that comes about, in plain words."""

import numpy as np

from gatesim.chain.pipeline import Passed
from gatesim.ground.arrays import first_of
from gatesim.ground.transition import edge_count
from gatesim.prediction.rolling import rolling
from gatesim.scenario.model import Scenario

WORTH_TELLING = 0.05e-3
"""Length in m below which a remark would only distract."""


def remarks(scenario: Scenario, passed: Passed) -> list[str]:
    """Sentences on the first trial, none where the stage does nothing worth telling."""
    found = [
        *_own(scenario),
        rolling(scenario, passed),
        _ends(passed),
        _chatter(scenario, passed),
        _samples(scenario, passed),
        _timing(scenario, passed),
    ]
    return [sentence for sentence in found if sentence]


def _own(scenario: Scenario) -> list[str]:
    """Gates whose sensor is not like the others'."""
    return [
        f"Gate {gate} has a sensor of its own: other {' and '.join(key.replace('_', ' ') for key in keys)}."
        for gate in range(1, len(scenario.sensors) + 1)
        if (keys := scenario.sensor.differing(gate))
    ]


def _mm(value: float) -> str:
    return f"{1e3 * value:.2g} mm"


def _ends(passed: Passed) -> str:
    """Where the beam sees the ends of the part."""
    edges = passed.light[0][:1]
    if edge_count(edges)[0] != 2:
        return ""
    seen = passed.motion.travel_at(edges[:, :2])[0] - first_of(passed.rig.gates[0])
    front, rear = float(seen[0]), float(passed.true_length[0] - seen[1])
    if not abs(front + rear) > WORTH_TELLING:
        return ""
    word = "short" if front + rear > 0.0 else "long"
    places = ", ".join(
        f"{_mm(abs(by))} {'behind' if by > 0.0 else 'ahead of'} the {end}"
        if end == "tip"
        else f"{_mm(abs(by))} {'ahead of' if by > 0.0 else 'behind'} the {end}"
        for by, end in ((front, "tip"), (rear, "rear end"))
        if abs(by) > 0.1 * WORTH_TELLING
    )
    return (
        f"Gate 1 switches {places}: beam, threshold and the shape of the ends alone make the part "
        f"{_mm(abs(front + rear))} {word}, whatever the clock."
    )


def _chatter(scenario: Scenario, passed: Passed) -> str:
    extra, left = (
        sum(int(edge_count(times[:1])[0]) for times in lists)
        - sum(int(edge_count(t[:1])[0]) for t in passed.light)
        for lists in (passed.sensed, passed.filtered)
    )
    if extra <= 0 or left != 0:
        return ""
    table = scenario.filter
    return (
        f"The sensors chatter, with {extra} transitions too many; "
        f"the {table.kind} filter {table.against_chatter}."
    )


def _samples(scenario: Scenario, passed: Passed) -> str:
    """What it costs that the light or the input is looked at from time to time only."""
    periods = [s.sampling_period for s in scenario.sensors if s.sampling_period is not None]
    sensor = max(periods, key=lambda period: period.nominal, default=None)
    sampling = scenario.filter.sampling("filter@1")
    whose, period = "the pulsed light", sensor
    if sampling is not None and (sensor is None or sampling.period.nominal > sensor.nominal):
        whose, period = "the input filter", sampling.period
    if period is None:
        return ""
    worth = period.nominal * float(np.nanmax(passed.motion.speed[0]))
    if not worth > WORTH_TELLING:
        return ""
    return (
        f"Every edge waits up to {period.text} for the next sample of {whose}, worth {_mm(worth)} of travel, "
        "and by another time in every passage."
    )


def _timing(scenario: Scenario, passed: Passed) -> str:
    return scenario.counter.timing.side_note(float(np.nanmax(passed.motion.speed[0])))
