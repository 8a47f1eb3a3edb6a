"""What sensor, filter and timing do to a reading that comes about, in plain words."""

import numpy as np

from gatesim.chain.account.rolling import rolling
from gatesim.chain.pipeline import Measured
from gatesim.ground.arrays import first_of
from gatesim.ground.transition import edge_count
from gatesim.scenario.model import Scenario

WORTH_TELLING = 0.05e-3
"""Length in m below which a remark would only distract."""


def remarks(scenario: Scenario, passed: Measured) -> list[str]:
    """Sentences on the first trial, none where the stage does nothing worth telling."""
    found = [
        *_own(scenario),
        rolling(scenario, passed),
        _ends(passed),
        *_receivers(passed),
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


def _ends(passed: Measured) -> str:
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


def unsettled(passed: Measured, gate: int) -> float:
    """Longest time (s) by which an edge of the first trial comes earlier than computed; NaN for never.

    The receiver's signal is computed as settled before every edge. After an edge it still lacks
    1 - d of its way, d the share of it at the threshold, and exp(-t/tau) of that when the next edge comes
    t later; so much sooner does it cross the next threshold, at a distance l from where it heads:
    -tau ln(1 - (1 - d) exp(-t/tau)/l), for edges that are short beside the time constant tau.
    """
    sensor = passed.rig.sensors[gate - 1]
    tau = first_of(sensor.response.time_constant)
    times = passed.light[gate - 1][0]
    times = times[np.isfinite(times)]
    if tau == 0.0 or times.size < 2:
        return 0.0
    dark, light = first_of(sensor.dark_fraction), first_of(sensor.light_fraction)
    to_dark = np.arange(times.size - 1) % 2 == 0  # the earlier edge of each pair
    missing, distance = np.where(to_dark, 1.0 - dark, light), np.where(to_dark, light, 1.0 - dark)
    rest = missing * np.exp(-np.diff(times) / tau) / distance
    with np.errstate(divide="ignore", invalid="ignore"):  # it does not come to the threshold at all
        return float(np.max(-tau * np.log1p(-rest)))


def _receivers(passed: Measured) -> list[str]:
    """Gates whose receiver has not settled when the next edge comes: the model is out of its range."""
    fastest = float(np.nanmax(passed.motion.speed[0]))
    found = []
    for gate in range(1, len(passed.rig.sensors) + 1):
        early = unsettled(passed, gate)
        if early * fastest > WORTH_TELLING:
            by = f"by about {1e3 * early:.2g} ms, {_mm(early * fastest)} of travel"
        elif np.isnan(early):
            by = "and may not come at all"
        else:
            continue
        found.append(
            f"The receiver of gate {gate} has not settled from one edge when the next one comes, as it is "
            f"taken to be here: an edge comes earlier than computed, {by}."
        )
    return found


def _chatter(scenario: Scenario, passed: Measured) -> str:
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


def _samples(scenario: Scenario, passed: Measured) -> str:
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


def _timing(scenario: Scenario, passed: Measured) -> str:
    return scenario.counter.timing.side_note(float(np.nanmax(passed.motion.speed[0])))
