"""Input filters against plain state machines that step through time, bit for bit.

Times are whole numbers of a step, so that both sides meet the same ties without rounding. The filters
themselves are common practice, no source.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatesim.ground.draw import Nominal, Streams
from gatesim.ground.transition import edge_count
from gatesim.inputfilter import HoldOff, Majority, NoFilter, StableFor, highest_train, share_passed

TRIALS = 3000


class Phase:
    """Sampling phases in 64ths, so that sampling times are exact."""

    def __init__(self, trials, seed=0):
        self.trials = trials
        self.phase = np.random.default_rng(seed).integers(1, 64, trials) / 64.0

    def uniform(self, name, columns=None):
        assert columns is None
        return self.phase

    def normal(self, name, columns=None):
        raise AssertionError("no filter draws normals")


def random_lists(seed, width=10, longest=12, trials=TRIALS):
    """Transition lists of whole numbers, strictly rising, of 0 to ``width`` transitions."""
    rng = np.random.default_rng(seed)
    times = np.cumsum(rng.integers(1, longest, (trials, width)), axis=1).astype(float)
    used = rng.integers(0, width // 2 + 1, trials) * 2
    return np.where(np.arange(width) < used[:, None], times, np.inf)


def levels(edges):
    """Input level at every whole step, long enough for any filter to settle."""
    toggles, level = set(edges), 0
    for step in range(int(edges[-1]) + 60 if edges else 0):
        level ^= step in toggles
        yield step, level


def stable_for_machine(edges, hold):
    """A timer restarts at every change of the input; when it runs out the level is taken."""
    output, level, since, changes = 0, 0, -(10**9), []
    for step, now in levels(edges):
        if level != output and step - since >= hold:
            output = level
            changes.append(step)
        if now != level:
            level, since = now, step
    return changes


def hold_off_machine(edges, hold):
    """Follow the input except while the timer, started by the last change of the output, runs."""
    output, blind_until, changes = 0, -(10**9), []
    for step, now in levels(edges):
        if step >= blind_until and now != output:
            output = 1 - output
            blind_until = step + hold
            changes.append(step)
    return changes


def majority_machine(edges, phase, samples, needed):
    """A shift register of the last samples, each taken between two whole steps."""
    output, register, changes = 0, [0] * samples, []
    for step, now in levels(edges):
        register = [*register[1:], now]
        if register.count(1 - output) >= needed:
            output = 1 - output
            changes.append(step + phase)
    return changes


def assert_same(filtered, expected):
    assert filtered.shape[1] >= 2
    for row, changes in zip(filtered, expected, strict=True):
        found = row[np.isfinite(row)]
        assert found.tolist() == changes
        assert np.all(np.isinf(row[len(changes) :]))


def finite(times):
    return [row[np.isfinite(row)].tolist() for row in times]


@pytest.mark.parametrize("hold", [1, 3, 6, 25])
def test_stable_for_equals_a_stepped_machine(hold):
    times = random_lists(hold)
    filtered = StableFor(float(hold)).pass_on(times, Nominal(TRIALS), "filter@1")
    assert_same(filtered, [stable_for_machine(edges, hold) for edges in finite(times)])


@pytest.mark.parametrize("hold", [1, 3, 6, 25])
def test_hold_off_equals_a_stepped_machine(hold):
    times = random_lists(100 + hold)
    filtered = HoldOff(float(hold)).pass_on(times, Nominal(TRIALS), "filter@1")
    assert_same(filtered, [hold_off_machine(edges, hold) for edges in finite(times)])


@pytest.mark.parametrize(("samples", "needed"), [(1, 1), (2, 2), (3, 2), (5, 3), (5, 5), (8, 6)])
def test_majority_equals_a_shift_register(samples, needed):
    times = random_lists(samples * 10 + needed)
    draw = Phase(TRIALS, samples)
    filtered = Majority(1.0, samples, needed).pass_on(times, draw, "filter@1")
    expected = [
        majority_machine(edges, phase, samples, needed)
        for edges, phase in zip(finite(times), draw.phase, strict=True)
    ]
    assert_same(filtered, expected)


def test_filter_times_that_differ_from_trial_to_trial():
    hold = np.random.default_rng(7).integers(1, 12, TRIALS)
    times = random_lists(7)
    stable = StableFor(hold.astype(float)).pass_on(times, Nominal(TRIALS), "filter@1")
    late = HoldOff(hold.astype(float)).pass_on(times, Nominal(TRIALS), "filter@1")
    rows = list(zip(finite(times), hold, strict=True))
    assert_same(stable, [stable_for_machine(edges, h) for edges, h in rows])
    assert_same(late, [hold_off_machine(edges, h) for edges, h in rows])


def test_a_few_long_lists_among_short_ones_are_filtered_as_the_machines_do():
    times = random_lists(11, width=24)
    times[np.arange(TRIALS) % 9 > 0, 2:] = np.inf
    draw, edges = Phase(TRIALS, 3), finite(times)
    stable = StableFor(4.0).pass_on(times, draw, "filter@1")
    assert_same(stable, [stable_for_machine(row, 4) for row in edges])
    late = HoldOff(4.0).pass_on(times, draw, "filter@1")
    assert_same(late, [hold_off_machine(row, 4) for row in edges])
    voted = Majority(1.0, 5, 3).pass_on(times, draw, "filter@1")
    rows = zip(edges, draw.phase, strict=True)
    assert_same(voted, [majority_machine(row, phase, 5, 3) for row, phase in rows])


def test_a_long_stream_of_parts_is_filtered_like_a_short_one():
    times = random_lists(3, width=400, longest=20, trials=20)
    filtered = StableFor(9.0).pass_on(times, Nominal(20), "filter@1")
    assert_same(filtered, [stable_for_machine(edges, 9) for edges in finite(times)])
    held = HoldOff(9.0).pass_on(times, Nominal(20), "filter@1")
    assert_same(held, [hold_off_machine(edges, 9) for edges in finite(times)])


@pytest.mark.long
@pytest.mark.parametrize(
    "kind", [NoFilter(), StableFor(2.5e-3), HoldOff(2.5e-3), Majority(0.9e-3, 5, 4)], ids=lambda k: str(k)
)
@given(st.lists(st.floats(1e-5, 1e-2), min_size=2, max_size=16), st.integers(0, 2**32))
def test_filtered_signals_rise_and_never_come_before_their_cause(kind, gaps, seed):
    times = np.cumsum(gaps)[None, : len(gaps) // 2 * 2]
    filtered = kind.pass_on(times, Streams(seed, 0, 1), "filter@1")[0]
    changes = filtered[np.isfinite(filtered)]
    assert np.all(np.diff(changes) > 0.0)
    assert len(changes) % 2 == 0  # the signal ends light
    assert np.all(changes >= times[0, 0])


def square_wave(frequency, duty, pulses=40, trials=1):
    starts = 1.0 + np.arange(pulses) / frequency
    times = np.stack([starts, starts + duty / frequency], axis=1).ravel()
    return np.tile(times, (trials, 1))


def test_stable_for_passes_a_train_only_below_half_the_inverse_filter_time():
    hold = 1e-3
    slow, fast = square_wave(490.0, 0.5), square_wave(510.0, 0.5)
    kind = StableFor(hold)
    assert edge_count(kind.pass_on(slow, Nominal(1), "filter@1"))[0] == 80
    assert edge_count(kind.pass_on(fast, Nominal(1), "filter@1"))[0] == 0
    assert highest_train(kind, 0.5) == pytest.approx(500.0)
    # an uneven train is bound by its shorter half: dark too short, nothing passes
    assert highest_train(kind, 0.2) == pytest.approx(200.0)
    assert edge_count(kind.pass_on(square_wave(210.0, 0.2), Nominal(1), "filter@1"))[0] == 0


def test_stable_for_closes_gaps_of_a_train_that_is_mostly_dark():
    filtered = StableFor(1e-3).pass_on(square_wave(300.0, 0.8), Nominal(1), "filter@1")
    # 2.7 ms dark, 0.67 ms light: one long pulse of the whole train
    assert edge_count(filtered)[0] == 2


def test_hold_off_lets_every_train_through_but_not_every_pulse():
    kind = HoldOff(1e-3)
    below = kind.pass_on(square_wave(490.0, 0.5), Nominal(1), "filter@1")
    assert edge_count(below)[0] == 80
    assert highest_train(kind, 0.5) == pytest.approx(500.0)
    above = edge_count(kind.pass_on(square_wave(1700.0, 0.5), Nominal(1), "filter@1"))[0]
    assert 0 < above < 80


@pytest.mark.parametrize(("samples", "needed"), [(3, 2), (5, 5), (8, 6)])
def test_majority_passes_every_pulse_of_a_train_below_its_limit_at_any_phase(samples, needed):
    kind = Majority(1e-3, samples, needed)
    trials = 500
    below = square_wave(0.999 * highest_train(kind, 0.5), 0.5, trials=trials)
    assert np.all(edge_count(kind.pass_on(below, Streams(1, 0, trials), "filter@1")) == 80)


@pytest.mark.parametrize(("samples", "needed"), [(3, 2), (5, 5), (8, 6)])
def test_majority_loses_pulses_of_a_train_just_above_its_limit_at_some_phases(samples, needed):
    kind = Majority(1e-3, samples, needed)
    above = square_wave(1.02 * highest_train(kind, 0.5), 0.5, trials=500)
    passed = edge_count(kind.pass_on(above, Streams(1, 0, 500), "filter@1"))
    assert np.any(passed < 80)


def test_limit_of_a_filter_that_varies_is_that_of_its_slowest():
    slow = highest_train(Majority(2e-3, 3, 2), 0.5)
    assert highest_train(Majority(np.array([1e-3, 2e-3, 1.5e-3]), 3, 2), 0.5) == slow
    assert highest_train(HoldOff(np.array([1e-3, 2e-3])), 0.5) == highest_train(HoldOff(2e-3), 0.5)
    assert highest_train(StableFor(np.array([2e-3, 1e-3])), 0.5) == highest_train(StableFor(2e-3), 0.5)


@pytest.mark.parametrize("frequency", [5.5e3, 7e3, 9e3, 13e3])
def test_share_passed_is_that_of_a_walk_through_32_pulses_the_first_not_counted(frequency):
    # a hold-off written out in time: take a change, look away, then take the level there is
    hold, period = 1e-4, 1.0 / frequency
    edges = [(number * 0.5 * period, number % 2 == 0) for number in range(64)]
    dark, free, pulses = False, -1.0, 0
    for number, (time, level) in enumerate(edges):
        until = edges[number + 1][0] if number < 63 else 1.0
        if time >= free and level != dark:
            dark, free, pulses = level, time + hold, pulses + (not level)
        elif time < free < until and level != dark:
            dark, free, pulses = level, free + hold, pulses + (not level)
    share = share_passed(HoldOff(hold), frequency, Nominal(1))[0]
    assert share == pytest.approx((pulses - 1) / 31, abs=1e-12)
    assert share < 1.0


def test_a_train_that_merges_into_one_long_level_passes_nothing():
    # 2.7 ms dark, 0.67 ms light: the gaps are closed
    assert share_passed(StableFor(1e-3), 300.0, Nominal(1), duty=0.8)[0] == 0.0


@pytest.mark.parametrize(
    ("kind", "frequency", "share"),
    [
        (StableFor(1e-4), 4.9e3, 1.0),
        (StableFor(1e-4), 5.1e3, 0.0),
        (HoldOff(1e-4), 4.9e3, 1.0),
        (Majority(2e-5, 5, 5), 4.9e3, 1.0),
        (Majority(2e-5, 5, 5), 6.5e3, 0.0),
        (NoFilter(), 1e6, 1.0),
    ],
)
def test_a_train_into_the_same_input_passes_whole_or_not_at_all(kind, frequency, share):
    assert np.all(share_passed(kind, frequency, Streams(1, 0, 50)) == share)


def test_a_train_that_outruns_a_hold_off_passes_in_part():
    # blind for 0.1 ms after every change, half a period is 0.07 ms: some changes are caught late
    share = share_passed(HoldOff(1e-4), 7e3, Nominal(1))[0]
    assert 0.3 < share < 0.9


def test_majority_passes_nothing_of_a_train_too_fast_for_all_samples_to_agree():
    kind = Majority(1e-3, 5, 5)
    fast = square_wave(1.0 / 7.8e-3, 0.5, trials=500)  # 3.9 ms dark: at most four samples
    assert np.all(edge_count(kind.pass_on(fast, Streams(1, 0, 500), "filter@1")) == 0)


def test_a_swallowed_part_a_swallowed_gap_and_a_split_part():
    part, gap = np.array([[0.0, 2e-3]]), np.array([[0.0, 10e-3, 10.5e-3, 20e-3]])
    assert edge_count(StableFor(3e-3).pass_on(part, Nominal(1), "filter@1"))[0] == 0
    assert edge_count(StableFor(3e-3).pass_on(gap, Nominal(1), "filter@1"))[0] == 2
    assert edge_count(StableFor(0.2e-3).pass_on(gap, Nominal(1), "filter@1"))[0] == 4


def test_clean_edges_keep_their_distance():
    times = np.array([[1.0, 1.040]])
    for kind in (NoFilter(), StableFor(3e-3), HoldOff(3e-3)):
        filtered = kind.pass_on(times, Nominal(1), "filter@1")
        assert np.diff(filtered)[0, 0] == pytest.approx(0.040, abs=1e-15)


def test_sampling_gives_a_dwell_one_of_two_neighbouring_numbers_of_periods():
    # two roundings up to the same raster, like the ticks of a clock of random phase
    trials, period, dwell = 20000, 1e-3, 41.3e-3
    filtered = Majority(period, 3, 2).pass_on(
        np.tile([1.0, 1.0 + dwell], (trials, 1)), Streams(4, 0, trials), "filter@1"
    )
    seen = np.rint(np.diff(filtered)[:, 0] / period)
    assert set(seen) == {41.0, 42.0}
    assert np.mean(seen == 42.0) == pytest.approx(0.3, abs=4 * np.sqrt(0.21 / trials))


def test_an_input_card_samples_all_inputs_at_the_same_instants():
    # common phase: two equal edges are seen at the same sample; own phases: they differ by up to a period
    n, period = 5000, 1e-3
    edges = np.tile([0.0123, 0.05], (n, 1))
    for together in (True, False):
        stage, draw = Majority(period, 3, 2, together), Streams(4, 0, n)
        one, two = (stage.pass_on(edges, draw, f"filter@{gate}") for gate in (1, 2))
        late = (two - one)[:, 0] / period
        assert np.abs(late).max() < 1.0
        # the difference of two independent uniform waits is triangular, of variance 1/6
        assert np.var(late) == pytest.approx(0.0 if together else 1.0 / 6.0, rel=0.05, abs=1e-12)
