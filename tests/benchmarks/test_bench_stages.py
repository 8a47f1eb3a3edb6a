"""Cost of each stage of the pipeline with everything switched on, beside drawing its random numbers.

Run: python -m pytest -n0 -s tests/benchmarks/test_bench_stages.py
All stages are timed within the same runs, by processor time; the rig is invented. Printed are
nanoseconds a trial and the ratio to the bare drawing of the numbers that a trial needs.
"""

import time
from collections import defaultdict
from unittest import mock

from gatesim.chain import pipeline, signals
from gatesim.ground.draw import Streams
from gatesim.scenario import parse_text
from gatesim.studies.draws import Recorder

TRIALS, RUNS = 4096, 30

RIG = """
[part]
length = { value = "260 mm", distribution = "normal", standard_uncertainty = "0.1 mm" }
mass = "210 g"
height = "20 mm"
front = { shape = "cone", length = "5 mm" }
openings = [{ kind = "hole", start = "100 mm", length = "6 mm", height = "8 mm" }]
tilt = { value = "0 deg", distribution = "normal", standard_uncertainty = "0.3 deg" }
[path]
slope = { value = "35 deg", distribution = "normal", standard_uncertainty = "0.2 deg" }
friction = { value = 0.22, distribution = "normal", standard_uncertainty = 0.02 }
[brake]
start = "60 mm"
length = "1100 mm"
peak_force = { value = "4.9 N", distribution = "rectangular", half_width = "0.2 N" }
critical_speed = { value = "2.2 m/s", distribution = "rectangular", half_width = "0.2 m/s" }
[gate]
first = "760 mm"
spacing = { value = "50 mm", distribution = "normal", standard_uncertainty = "0.03 mm" }
rearm = "400 mm"
[follower]
interval = { value = "700 ms", distribution = "normal", standard_uncertainty = "20 ms" }
[sensor]
beam = { shape = "circular", diameter = "2 mm", offset = "0.3 mm" }
dark_fraction = { value = "55 %", distribution = "rectangular", half_width = "5 %" }
light_fraction = "45 %"
time_constant = "20 us"
dark_delay = { value = "80 us", distribution = "normal", standard_uncertainty = "5 us" }
light_delay = { value = "95 us", distribution = "normal", standard_uncertainty = "5 us" }
jitter = "3 us"
sampling_period = "20 us"
samples_in_row = 2
chatter = { mean_pulses = 0.5, mean_spacing = "50 us" }
[filter]
KIND
[counter]
frequency = "100 kHz"
frequency_error = { value = "0 ppm", distribution = "rectangular", half_width = "50 ppm" }
drift = { value = "0 ppm/s", distribution = "rectangular", half_width = "1 ppm/s" }
timing = { kind = "polled", cycle = "1 ms", jitter = "20 us" }
"""
FILTERS = {
    "stable-for": 'kind = "stable-for"\ntime = "1 ms"',
    "hold-off": 'kind = "hold-off"\ntime = "1 ms"',
    "majority": 'kind = "majority"\nperiod = "0.2 ms"\nsamples = 5\nneeded = 4',
}
STAGES = {
    (pipeline, "rig_of"): "rig",
    (pipeline, "switching"): "sensor: switching positions",
    (signals, "_receiver"): "sensor: receiver",
    (signals, "respond"): "sensor: response and chatter",
    (pipeline, "with_followers"): "parts that follow",
    (pipeline, "count"): "counter",
    (pipeline, "verdict"): "outcome",
    (pipeline, "read"): "formulas",
}


def timed(spent, name, function):
    def call(*arguments, **named):
        start = time.process_time()
        found = function(*arguments, **named)
        spent[name] += time.process_time() - start
        return found

    return call


def drawing(used):
    """Seconds of processor time to draw what one block needs and do nothing with it."""
    start = time.process_time()
    for block in range(RUNS):
        draw = Streams(1, block, TRIALS)
        for name, (kind, columns) in used.items():
            getattr(draw, kind)(name, columns)
    return time.process_time() - start


def stage_costs(kind):
    """Seconds by stage, of the whole, and of the drawing alone, over all runs."""
    scenario = parse_text(RIG.replace("KIND", FILTERS[kind]))
    recorder = Recorder(Streams(1, 0, TRIALS))
    pipeline.run(scenario, recorder)
    spent = defaultdict(float)
    move = timed(spent, "motion", pipeline.passage)
    patches = [
        mock.patch.object(module, f, timed(spent, label, getattr(module, f)))
        for (module, f), label in STAGES.items()
    ]
    filter_class = type(pipeline.motion_query(scenario, Streams(1, 0, 1)).rig.filter)
    patches.append(
        mock.patch.object(
            filter_class, "pass_on", timed(spent, f"input filter: {kind}", filter_class.pass_on)
        )
    )
    for patch in patches:
        patch.start()
    start = time.process_time()
    for block in range(RUNS):
        pipeline.run(scenario, Streams(1, block, TRIALS), move=move)
    whole = time.process_time() - start
    for patch in patches:
        patch.stop()
    spent["everything else"] = whole - sum(spent.values())
    return spent, whole, drawing(recorder.used)


def test_cost_of_each_stage_with_everything_switched_on():
    trials = RUNS * TRIALS
    for kind in FILTERS:
        spent, whole, drawn = stage_costs(kind)
        print(f"\n{kind}: drawing alone {1e9 * drawn / trials:.0f} ns a trial")
        for label, seconds in {**spent, "whole": whole}.items():
            print(f"  {label:32s}{1e9 * seconds / trials:8.0f} ns a trial{seconds / drawn:8.2f} drawings")
