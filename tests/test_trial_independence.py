"""A trial's bits depend on seed, block and its place in the block, not on what else the block holds."""

import numpy as np
import pytest

from gatesim.chain import pipeline
from gatesim.ground.draw import Streams

from .rigs import rig

EVERYTHING = """
[sensor]
beam = {{ shape = "circular", diameter = "2 mm" }}
dark_fraction = {{ value = "55 %", distribution = "rectangular", half_width = "5 %" }}
light_fraction = "45 %"
time_constant = "20 us"
dark_delay = {{ value = "80 us", distribution = "normal", standard_uncertainty = "5 us" }}
jitter = "3 us"
sampling_period = "50 us"
samples_in_row = 2
chatter = {{ mean_pulses = 1.5, mean_spacing = "0.3 ms" }}
[follower]
interval = {{ value = "180 ms", distribution = "normal", standard_uncertainty = "20 ms" }}
[filter]
{filter}
[counter.timing]
{timing}
"""
FILTERS = {
    "stable-for": 'kind = "stable-for"\ntime = "0.4 ms"',
    "hold-off": 'kind = "hold-off"\ntime = "0.4 ms"',
    "majority": 'kind = "majority"\nperiod = "0.2 ms"\nsamples = 5\nneeded = 3',
}
TIMINGS = {
    "hardware": 'kind = "hardware"',
    "polled": 'kind = "polled"\ncycle = "1 ms"\njitter = "0.1 ms"',
    "interrupt": 'kind = "interrupt"\nlatency = "20 us"\njitter = "4 us"',
}


def passed(trials, filter_kind, timing):
    text = EVERYTHING.format(filter=FILTERS[filter_kind], timing=TIMINGS[timing])
    return pipeline.run(rig(text), Streams(7, 3, trials))


@pytest.mark.parametrize("filter_kind", FILTERS)
@pytest.mark.parametrize("timing", TIMINGS)
def test_a_block_of_few_trials_is_the_beginning_of_a_block_of_many(filter_kind, timing):
    few, many = passed(9, filter_kind, timing), passed(300, filter_kind, timing)
    assert few.outcome.tolist() == many.outcome[:9].tolist()
    for name, reading in few.readings.items():
        np.testing.assert_array_equal(reading, many.readings[name][:9])
    for gate, times in enumerate(few.filtered):
        np.testing.assert_array_equal(times, many.filtered[gate][:9, : times.shape[1]])
    again = passed(300, filter_kind, timing)
    np.testing.assert_array_equal(again.counts.dwell, many.counts.dwell)
