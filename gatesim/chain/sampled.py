"""The stages of a rig that look at their input from time to time, and the rig without such looking.

A sampled stage makes counts a staircase in every quantity, which has no slope. At its mean delay
an edge waits half a period, and as many periods as further samples are needed.
"""

from collections.abc import Collection
from dataclasses import replace

from gatesim.counter import TimingTable
from gatesim.ground.quantity import Quantity
from gatesim.scenario import Scenario
from gatesim.scenario.sensing import SensorTable

LIGHT = "sampling of the pulsed light"
FILTER = "sampling of the input filter"


def timing_stage(timing: TimingTable) -> str:
    """Name of the stage in which edges wait for the counter, if it samples them."""
    return timing.place.removeprefix("the ")


def sampling_periods(scenario: Scenario) -> dict[str, Quantity]:
    """Period of every stage that samples, the longest of its gates', by its name."""
    pulsed = [s.sampling_period for s in scenario.sensors if s.sampling_period is not None]
    found = {LIGHT: max(pulsed, key=lambda period: period.nominal)} if pulsed else {}
    timing = scenario.counter.timing
    stages = {FILTER: scenario.filter.sampling("filter@1"), timing_stage(timing): timing.sampling()}
    return found | {name: stage.period for name, stage in stages.items() if stage is not None}


def at_mean_delay(scenario: Scenario, but: Collection[str] = ()) -> Scenario:
    """The rig with every sampling stage at its mean delay, ``but`` those named; itself if none samples."""
    change: dict[str, object] = {}
    timing, inputs = scenario.counter.timing, scenario.filter
    pulsed = any(sensor.sampling_period is not None for sensor in scenario.sensors)
    if pulsed and LIGHT not in but:
        change["sensor"] = scenario.sensor.with_each(_continuous)
    if timing_stage(timing) not in but and (smoothed := timing.smoothed()) is not timing:
        change["counter"] = scenario.counter.model_copy(update={"timing": smoothed})
    if FILTER not in but and (smoothed_filter := inputs.smoothed()) is not inputs:
        change["filter"] = smoothed_filter
    return scenario.model_copy(update=change) if change else scenario


def _continuous(sensor: SensorTable) -> dict[str, object]:
    """Keys of a pulsed-light sensor that waits its mean time; nothing of another."""
    if sensor.sampling_period is None:
        return {}
    wait = (sensor.samples_in_row - 0.5) * sensor.sampling_period.nominal
    delays = (("dark_delay", sensor.dark_delay), ("light_delay", sensor.light_delay))
    later = {key: replace(q, nominal=q.nominal + wait) for key, q in delays}
    return {**later, "sampling_period": None, "samples_in_row": 1}
