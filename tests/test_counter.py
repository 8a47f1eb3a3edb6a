"""Gate logic, clock, encoder and timing of the counter against plain enumeration.

The machines in this file walk through edges, ticks and pulses one at a time. How a counter with gate,
capture and re-arm behaves is common practice, no source.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatesim.counter import Clock, Counter, Encoder, Hardware, Interrupt, Polled, count, run_cycles
from gatesim.ground.draw import Nominal, Streams
from gatesim.ground.outcome import Outcome
from gatesim.inputfilter import StableFor

MHZ = Clock(1e6)
KEYS = ("start", "dwell", "capture", "rear_capture", "third_capture", "rearm")


class Phases:
    """Medians but for the draws named."""

    def __init__(self, trials, **phases):
        self.trials = trials
        self.phases = {name.replace("__", "."): value for name, value in phases.items()}

    def uniform(self, name, columns=None):
        return self.phases[name] if name in self.phases else Nominal(self.trials).uniform(name, columns)

    def normal(self, name, columns=None):
        return Nominal(self.trials).normal(name, columns)


def phases_everywhere(trials):
    return (np.arange(trials) + 0.5) / trials


# ---------------------------------------------------------------- gate logic


def walk(gates, cycles):
    """Gate logic, one edge at a time: a record for every cycle that began."""
    events = sorted((t, g, i % 2 == 0) for g, row in enumerate(gates) for i, t in enumerate(row))
    records, record, dark = [], None, [False, False, False]
    for time, gate, to_dark in events:
        dark[gate] = to_dark
        if gate == 0 and to_dark:
            if record is None and len(records) < cycles:
                record = dict.fromkeys(KEYS) | {"start": time, "darkened": 0}
                records.append(record)
            if record is not None:
                record["darkened"] += 1
        if record is None:
            continue
        if gate == 0 and not to_dark:
            record["dwell"] = time
        if gate == 1 and to_dark and record["capture"] is None:
            record["capture"] = time
        if gate == 1 and not to_dark and record["capture"] is not None:
            record["rear_capture"] = time
        if len(gates) == 3:
            over = gate == 2 and to_dark
            if over:
                record["third_capture"] = time
        else:
            over = not to_dark and record["capture"] is not None and not dark[0] and not dark[1]
        if over:
            record["rearm"] = time
            record = None
    return records


def random_gates(seed, number, trials=1500, width=8):
    rng = np.random.default_rng(seed)
    gates = []
    for _ in range(number):
        times = np.cumsum(rng.exponential(1.0, (trials, width)), axis=1)
        used = 2 * rng.integers(0, width // 2 + 1, trials)
        gates.append(np.where(np.arange(width) < used[:, None], times, np.inf))
    return gates


def usual_gates(seed, number, trials=800):
    """Most trials alike but for a little, others not; whole times, so that edges of gates coincide."""
    rng = np.random.default_rng(seed)
    alike = np.array([[[10, 40, 60, 70]], [[20, 50, 60, 80]], [[55, 90, 99, 120]]])[:number]
    off = rng.integers(0, 5, (number, trials, 4)) * (rng.random((trials, 1)) < 0.3)
    off += rng.integers(0, 60, (number, trials, 4)) * (rng.random((trials, 1)) < 0.1)
    times = np.sort(alike + off, axis=2).astype(float) + np.arange(4) / 8.0
    return [np.where(np.arange(4) < 2 * rng.integers(1, 3, (trials, 1)), gate, np.inf) for gate in times]


@pytest.mark.parametrize("made", [random_gates, usual_gates])
@pytest.mark.parametrize("number", [2, 3])
@pytest.mark.parametrize("cycles", [1, 2, 5])
def test_gate_logic_equals_a_walk_through_the_edges(number, cycles, made):
    gates = made(10 * number + cycles, number)
    found = run_cycles(gates, cycles)
    for trial in range(len(gates[0])):
        rows = [gate[trial][np.isfinite(gate[trial])] for gate in gates]
        records = walk(rows, cycles)
        for cycle in range(cycles):
            expected = records[cycle] if cycle < len(records) else dict.fromkeys(KEYS) | {"darkened": 0}
            for key in KEYS:
                value = getattr(found, key)[trial, cycle]
                assert (expected[key] is None and np.isnan(value)) or expected[key] == value, (key, rows)
            assert found.darkened[trial, cycle] == expected["darkened"]


def test_a_stream_of_parts_gives_one_record_each():
    starts = 0.5 * np.arange(30)
    first = np.stack([starts, starts + 0.08], axis=1).reshape(1, -1)
    found = run_cycles([first, first + 0.05], 30)
    assert found.start[0] == pytest.approx(starts)
    assert found.rearm[0] == pytest.approx(starts + 0.13)
    assert np.all(found.darkened == 1)


def outcome_of(counter, *gates):
    counted = count(counter, [np.array([gate], float) for gate in gates], Nominal(1))
    return Outcome(int(counted.outcome[0, 0])), counted


def test_a_part_longer_than_the_way_to_the_third_gate_is_re_armed_too_early():
    outcome, counted = outcome_of(Counter(MHZ, Hardware()), [0.0, 0.5], [0.1, 0.6], [0.3, 0.8])
    assert outcome is Outcome.EARLY_REARM
    assert np.isnan(counted.counts().dwell[0])
    assert counted.counts().capture[0] == 100_000


def test_the_next_part_before_the_re_arm_overwrites_the_dwell():
    outcome, counted = outcome_of(
        Counter(MHZ, Hardware()), [0.0, 0.2, 0.4, 0.6], [0.1, 0.3, 0.5, 0.7], [0.45, 0.8]
    )
    assert outcome is Outcome.SPLIT  # the counter cannot tell a split part from a next one
    assert counted.cycles.darkened[0, 0] == 2
    assert counted.counts().dwell[0] == 200_000  # the second part has not left before the re-arm


def test_without_an_edge_at_a_gate_there_is_nothing_to_count():
    never = [np.inf, np.inf]
    assert outcome_of(Counter(MHZ, Hardware()), never, [0.1, 0.2])[0] is Outcome.NO_EDGE
    assert outcome_of(Counter(MHZ, Hardware()), [0.1, 0.2], never)[0] is Outcome.NO_CAPTURE


def test_a_counter_that_counts_while_dark_captures_nothing_of_a_part_shorter_than_the_spacing():
    counter = Counter(MHZ, Hardware(), counting="while-dark")
    outcome, counted = outcome_of(counter, [0.0, 0.1], [0.3, 0.4])
    assert outcome is Outcome.LATE_CAPTURE
    assert np.isnan(counted.counts().capture[0])
    outcome, counted = outcome_of(counter, [0.0, 0.4], [0.3, 0.7])
    assert outcome is Outcome.MEASURED
    assert counted.counts().capture[0] == 300_000
    assert np.isnan(counted.counts().rear_capture[0])


def test_while_dark_the_light_of_a_hole_is_not_counted():
    counter = Counter(MHZ, Hardware(), counting="while-dark")
    _, counted = outcome_of(counter, [0.0, 0.2, 0.25, 0.5], [0.3, 0.7])
    assert counted.counts().dwell[0] == pytest.approx(450_000, abs=1)
    assert counted.counts().capture[0] == pytest.approx(250_000, abs=1)
    _, running = outcome_of(Counter(MHZ, Hardware()), [0.0, 0.2, 0.25, 0.5], [0.3, 0.7])
    assert running.counts().dwell[0] == 500_000


def test_while_dark_a_part_that_stays_in_the_beam_after_chatter_is_counted():
    counter = Counter(MHZ, Hardware(), counting="while-dark")
    outcome, counted = outcome_of(counter, [0.0, 0.2, 0.25], [0.3, 0.7])
    assert outcome is Outcome.SPLIT
    assert counted.counts().dwell[0] == 200_000
    assert np.isnan(counted.counts().capture[0])  # after the last edge to light


# ---------------------------------------------------------------- clock


def dwell_counts(counter, dwell, draw):
    n = draw.trials
    gates = [np.tile([1.0, 1.0 + dwell], (n, 1)), np.tile([1.0 + 0.5 * dwell, 1.0 + 1.5 * dwell], (n, 1))]
    return count(counter, gates, draw).counts().dwell


@given(st.integers(0, 10**6), st.floats(0.01, 0.99))
def test_a_dwell_of_n_plus_f_periods_counts_n_or_n_plus_one(whole, fraction):
    # two-point distribution of a count of random phase: n + 1 with probability f, mean n + f,
    # variance f (1 - f). J. Kalisz, Metrologia 41 (2004) 17, section on the counter method; citation
    # from memory, the distribution follows from floor(x + phase)
    trials = 1000
    draw = Phases(trials, counter__phase=phases_everywhere(trials))
    counts = np.floor(whole + fraction + draw.uniform("counter.phase"))
    found = Clock(1.0).whole(np.full((trials, 1), whole + fraction), Clock(1.0).phase(draw))[:, 0]
    assert np.array_equal(found, counts)
    assert set(found) <= {whole, whole + 1}
    assert np.mean(found == whole + 1) == pytest.approx(fraction, abs=1.0 / trials)
    assert np.var(found) == pytest.approx(fraction * (1.0 - fraction), abs=2.0 / trials)


def test_variance_of_a_count_averaged_over_the_fraction_is_one_sixth():
    # integral of f (1 - f) over f from 0 to 1; same source
    fractions = phases_everywhere(400)
    trials = 400
    counter = Counter(Clock(1.0), Hardware())
    draw = Phases(trials, counter__phase=phases_everywhere(trials))
    variances = [np.var(dwell_counts(counter, 50.0 + f, draw)) for f in fractions]
    assert np.mean(variances) == pytest.approx(1.0 / 6.0, abs=2e-3)


def test_counts_equal_the_ticks_that_fall_into_the_dwell():
    rng = np.random.default_rng(1)
    trials, frequency = 400, 1000.0
    phase, dwell = rng.uniform(size=trials), rng.uniform(0.001, 0.2, trials)
    gates = [np.stack([np.zeros(trials), dwell], axis=1), np.stack([0.5 * dwell, 2.0 * dwell], axis=1)]
    draw = Phases(trials, counter__phase=phase)
    found = count(Counter(Clock(frequency), Hardware()), gates, draw).counts()
    # phase: how much of a period has gone by at the start
    ticks = (np.arange(1, 1000)[None, :] - phase[:, None]) / frequency
    assert np.array_equal(found.dwell, (ticks <= dwell[:, None]).sum(axis=1))
    assert np.array_equal(found.capture, (ticks <= 0.5 * dwell[:, None]).sum(axis=1))


@settings(deadline=None)
@given(st.floats(-1e-3, 1e-3), st.floats(-1e-4, 1e-4), st.floats(0.01, 10.0))
def test_error_and_drift_of_a_clock_add_up_over_the_dwell(error, drift, dwell):
    from scipy.integrate import quad

    ticks, _ = quad(lambda t: 1e5 * (1.0 + error + drift * t), 0.0, dwell, epsabs=1e-9, epsrel=1e-12)
    counter = Counter(Clock(1e5, error, drift), Hardware(), quantised=False)
    assert dwell_counts(counter, dwell, Nominal(1))[0] == pytest.approx(ticks, rel=1e-10)


def test_expected_counts_are_the_mean_over_the_phase():
    trials = 2000
    draw = Phases(trials, counter__phase=phases_everywhere(trials))
    for dwell in (0.0303, 0.07777):
        whole = dwell_counts(Counter(Clock(1e4), Hardware()), dwell, draw)
        expected = dwell_counts(Counter(Clock(1e4), Hardware(), quantised=False), dwell, Nominal(1))[0]
        assert whole.mean() == pytest.approx(expected, abs=1.0 / trials)
        assert expected == pytest.approx(1e4 * dwell, rel=1e-12)


def test_a_multiple_of_a_count_can_be_wrong_by_more_than_one_count():
    # plus or minus one count bounds a single interval, not what is calculated from two of them
    trials = 1000
    draw = Phases(trials, counter__phase=phases_everywhere(trials))
    gates = [np.tile([0.0, 10.9], (trials, 1)), np.tile([10.9 / 3.0, 20.0], (trials, 1))]
    found = count(Counter(Clock(1.0), Hardware()), gates, draw).counts()
    assert np.abs(found.dwell - 10.9).max() < 1.0
    assert np.abs(found.capture - 10.9 / 3.0).max() < 1.0
    assert np.abs(found.dwell - 3.0 * found.capture).max() == 2.0


def test_a_16_bit_register_starts_again_from_zero_and_says_so():
    counter = Counter(Clock(1e5), Hardware(), width=16)
    outcome, counted = outcome_of(counter, [0.0, 0.7], [0.5, 1.2])
    assert outcome is Outcome.OVERFLOW
    assert counted.counts().dwell[0] == 70_000 - 65_536
    assert counted.counts().capture[0] == 50_000
    assert counted.overflowed["dwell"][0, 0]
    assert not counted.overflowed["capture"][0, 0]
    full = [0.0, 0.65535], [0.1, 0.6]
    assert outcome_of(counter, *full)[0] is Outcome.MEASURED
    assert outcome_of(counter, *full)[1].counts().dwell[0] == 65_535
    assert outcome_of(Counter(Clock(1e5), Hardware(), width=32), [0.0, 0.7], [0.5, 1.2])[0].reads


def accepted_pulses(ticks, dead):
    """Pulses that an input takes which is blind for a time after each: one at a time."""
    taken, ready = 0, -np.inf
    for tick in ticks:
        if tick >= ready:
            taken += 1
            ready = tick + dead
    return taken


@pytest.mark.parametrize("ratio", [0.7, 1.0, 1.3, 1.999, 2.6, 3.4])
def test_pulses_above_the_limit_are_counted_one_in_so_many(ratio):
    # whole numbers of a time unit, so that "at the very limit" is exact
    frequency, dwell = 1000.0, 2.0
    limit = frequency / ratio
    found = dwell_counts(Counter(Clock(frequency), Hardware(), input_limit=limit), dwell, Nominal(1))[0]
    dead = ratio * 1000 - 1e-6
    taken = accepted_pulses(1000.0 * np.arange(1, int(frequency * dwell) + 1), dead)
    assert found == pytest.approx(taken, abs=1)
    gates = [0.0, dwell], [0.5, 2.5]
    outcome, counted = outcome_of(Counter(Clock(frequency), Hardware(), input_limit=limit), *gates)
    assert (outcome is Outcome.PULSES_LOST) == (ratio > 1.0)
    assert counted.limit_ratio[0, 0] == pytest.approx(ratio)


# ---------------------------------------------------------------- encoder


def encoder(**changes):
    settings = {
        "pulses": 500, "edge_factor": 4, "diameter": 0.2 / np.pi, "slip": 0.0, "runout": 0.0,
        "channel_error": 0.0, "travel": lambda times: 2.0 * times,
    }  # fmt: skip
    return Encoder(**{**settings, **changes})


def test_an_encoder_counts_pulses_times_edge_factor_a_turn():
    # 1, 2 or 4 counts a line and turn: common practice, no source
    for factor in (1, 2, 4):
        counter = Counter(encoder(edge_factor=factor), Hardware())
        assert dwell_counts(counter, 0.1 + 1e-9, Nominal(1))[0] == 500 * factor


@pytest.mark.parametrize("error", [-0.5, 0.0, 0.3, 0.7])
@pytest.mark.parametrize("factor", [1, 2, 4])
def test_encoder_counts_equal_the_edges_that_pass(factor, error):
    rng = np.random.default_rng(factor)
    trials = 500
    phase, dwell = rng.uniform(size=trials), rng.uniform(1e-4, 4e-3, trials)
    draw = Phases(trials, counter__phase=phase)
    gates = [np.stack([np.ones(trials), 1.0 + dwell], axis=1)] * 2
    found = count(Counter(encoder(edge_factor=factor, channel_error=error), Hardware()), gates, draw)
    # edges of the first channel at even counts, of the second at odd ones; with one edge a line or
    # the edges of one channel only, the second channel's phase does not matter
    late = error / (0.5 * np.pi) if factor == 4 else 0.0
    edges = np.arange(0.0, 400.0)
    edges[1::2] += late
    begin = 0.5 + 2.0 * phase
    end = begin + 2.0 * dwell * 500 * factor / 0.2
    passed = ((edges > begin[:, None]) & (edges <= end[:, None])).sum(axis=1)
    assert np.array_equal(found.counts().dwell, passed)


def test_a_channel_error_leaves_the_mean_and_spreads_the_count():
    trials = 20_000
    draw = Phases(trials, counter__phase=phases_everywhere(trials))
    dwell = 1.55e-3  # 31 counts
    even = dwell_counts(Counter(encoder(), Hardware()), dwell + 1e-12, draw)
    uneven = dwell_counts(Counter(encoder(channel_error=0.25 * np.pi), Hardware()), dwell, draw)
    assert set(even) == {31.0}
    # the second channel half a count late: gaps of 1.5 and 0.5 counts in turn, so that what is left of
    # 15 pairs, one count, holds no edge, one or two with probabilities 1/4, 1/2, 1/4
    shares = [np.mean(uneven == n) for n in (30, 31, 32)]
    assert shares == pytest.approx([0.25, 0.5, 0.25], abs=1e-3)


def test_slip_is_missed_and_a_roller_that_turns_back_counts_down():
    counter = Counter(encoder(slip=0.02), Hardware(), quantised=False)
    assert dwell_counts(counter, 0.1, Nominal(1))[0] == pytest.approx(0.98 * 2000)
    swing = Counter(encoder(travel=lambda t: np.sin(2.0 * np.pi * (t - 1.0))), Hardware(), quantised=False)
    assert dwell_counts(swing, 0.25, Nominal(1))[0] == pytest.approx(10_000)
    assert dwell_counts(swing, 0.5, Nominal(1))[0] == pytest.approx(0.0, abs=1e-6)


def test_runout_is_that_of_a_roller_turning_about_a_point_beside_its_middle():
    # belt travel over a roller of radius R whose axis is e off: s = R a + e sin a, inverted by Newton
    trials, radius, off = 200, 0.03, 3e-5
    angle = phases_everywhere(trials)
    draw = Phases(trials, counter__roller_angle=angle)
    source = encoder(diameter=2.0 * radius, runout=off)
    for dwell in (0.01, 0.02, 0.0471, 0.1):
        found = dwell_counts(Counter(source, Hardware(), quantised=False), dwell, draw)
        begin = 2.0 * np.pi * angle + np.pi
        target = radius * begin + off * np.sin(begin) + 2.0 * dwell
        turned = target / radius
        for _ in range(20):
            turned -= (radius * turned + off * np.sin(turned) - target) / (radius + off * np.cos(turned))
        exact = (turned - begin) * 2000 / (2.0 * np.pi)
        # the model is first order in e/R: what is left is of second
        assert found == pytest.approx(exact, abs=2.0 * (off / radius) ** 2 * 2000 / (2.0 * np.pi))
        assert np.ptp(found) <= 4.0 * off / radius * 2000 / (2.0 * np.pi)


def test_runout_cancels_over_whole_turns():
    draw = Phases(50, counter__roller_angle=phases_everywhere(50))
    source = encoder(runout=1e-4)
    found = dwell_counts(Counter(source, Hardware(), quantised=False), 0.1, draw)
    assert found == pytest.approx(2000.0, abs=1e-6)


def test_an_encoder_too_fast_for_the_filter_of_its_input_counts_nothing():
    # 5 kHz of pulses: levels of 0.1 ms
    kept, lost = (Counter(encoder(), Hardware(), pulse_filter=StableFor(time)) for time in (0.09e-3, 0.11e-3))
    assert dwell_counts(kept, 0.1 + 1e-9, Nominal(1))[0] == 2000
    assert dwell_counts(lost, 0.1 + 1e-9, Nominal(1))[0] == 0
    outcome, _ = outcome_of(lost, [1.0, 1.1], [1.05, 1.2])
    assert outcome is Outcome.PULSES_LOST


def test_the_limit_is_that_of_pulses_not_of_counted_edges():
    # 5 kHz of pulses, 20 kHz of edges
    assert outcome_of(Counter(encoder(), Hardware(), input_limit=6e3), [1.0, 1.1], [1.05, 1.2])[0].reads
    outcome, _ = outcome_of(Counter(encoder(), Hardware(), input_limit=4.9e3), [1.0, 1.1], [1.05, 1.2])
    assert outcome is Outcome.PULSES_LOST


# ---------------------------------------------------------------- timing


def test_a_polled_edge_waits_for_the_next_scan():
    trials, cycle = 500, 2e-3
    rng = np.random.default_rng(2)
    phase, dwell = rng.uniform(size=trials), rng.uniform(3e-3, 50e-3, trials)
    draw = Phases(trials, counter__scan_phase=phase)
    times = np.stack([np.full(trials, 0.1), 0.1 + dwell], axis=1)
    acted = Polled(cycle, 0.0).act_on(times, draw, 1)
    scans = (np.arange(0, 200)[None, :] + phase[:, None]) * cycle
    for column in range(2):
        later = np.where(scans >= times[:, column : column + 1], scans, np.inf).min(axis=1)
        assert acted[:, column] == pytest.approx(later, abs=1e-12)


def test_a_polled_dwell_is_one_of_two_neighbouring_numbers_of_scans_as_likely_as_the_fraction_says():
    trials = 1000
    draw = Phases(trials, counter__scan_phase=phases_everywhere(trials))
    times = np.tile([0.1, 0.1 + 25.3e-3], (trials, 1))
    scans = np.rint(np.diff(Polled(1e-3, 0.0).act_on(times, draw, 1))[:, 0] / 1e-3)
    assert set(scans) == {25.0, 26.0}
    assert np.mean(scans == 26.0) == pytest.approx(0.3, abs=2e-3)


def test_a_pulse_between_two_scans_is_never_seen():
    trials = 1000
    draw = Phases(trials, counter__scan_phase=phases_everywhere(trials))
    times = np.tile([0.1, 0.1 + 0.4e-3], (trials, 1))
    acted = Polled(1e-3, 0.0).act_on(times, draw, 1)
    # it is seen if a scan falls into it: with probability 0.4
    assert np.mean(np.isfinite(acted[:, 0])) == pytest.approx(0.4, abs=2e-3)
    assert np.array_equal(np.isfinite(acted[:, 0]), np.isfinite(acted[:, 1]))


def test_gates_are_read_in_the_same_scans():
    trials = 300
    draw = Streams(3, 0, trials)
    times = np.tile([0.1, 0.13], (trials, 1))
    both = [Polled(1e-3, 1e-4).act_on(times, draw, gate) for gate in (1, 2)]
    assert np.array_equal(*both)


def test_scans_that_wander_are_never_before_the_edge_and_seldom_a_cycle_late():
    trials, cycle, jitter = 20_000, 1e-3, 5e-5
    times = np.tile([0.1, 0.13], (trials, 1))
    late = Polled(cycle, jitter).act_on(times, Streams(4, 0, trials), 1) - times
    assert late.min() >= 0.0
    # uniform over a cycle, widened by the wander of the two scans that bound the wait
    assert late.mean() == pytest.approx(0.5 * cycle + jitter**2 / cycle, abs=5e-6)
    assert late.max() < cycle + 9.0 * jitter


def test_a_scan_wanders_by_just_under_half_a_cycle_however_large_its_jitter():
    # as far as the order of the scans allows: start k lies within (k + phase -+ 0.499) cycles
    trials, cycle = 20_000, 1e-3
    seed = (np.arange(trials) + 0.25) / trials
    draw = Phases(trials, counter__scan_jitter=seed)
    times = np.stack([np.full(trials, 0.0104), np.full(trials, 0.0502)], axis=1)
    acted = Polled(cycle, cycle).act_on(times, draw, 1)
    assert np.all(acted >= times)
    wander = np.abs(acted / cycle - 0.5 - np.round(acted / cycle - 0.5))
    assert wander.max() == pytest.approx(0.499, abs=1e-9)
    # two thirds of normal draws exceed half a standard deviation
    assert np.mean(wander > 0.499 - 1e-9) > 0.3


def test_a_latency_common_to_all_edges_cancels():
    times = np.array([[0.1, 0.14]])
    acted = Interrupt(50e-6, 0.0).act_on(times, Nominal(1), 1)
    assert np.diff(acted) == pytest.approx(np.diff(times), abs=1e-15)
    assert acted[0, 0] == pytest.approx(0.1 + 50e-6, abs=1e-15)


def test_the_spread_of_the_latency_reaches_the_dwell_from_both_edges():
    trials, jitter = 40_000, 3e-6
    times = np.tile([0.1, 0.14], (trials, 1))
    acted = Interrupt(50e-6, jitter).act_on(times, Streams(5, 0, trials), 1)
    dwell = np.diff(acted)[:, 0]
    # sampling: standard deviation of a standard deviation is 1/sqrt(2 n)
    assert np.std(dwell) == pytest.approx(jitter * np.sqrt(2.0), rel=5.0 / np.sqrt(2.0 * trials))
    assert np.mean(dwell) == pytest.approx(0.04, abs=5.0 * jitter * np.sqrt(2.0 / trials))


def test_hardware_interrupt_and_polled_differ_only_in_their_timing():
    trials = 4000
    gates = [np.tile([0.1, 0.1837], (trials, 1)), np.tile([0.1411, 0.225], (trials, 1))]
    spread = {}
    for name, timing in {
        "hardware": Hardware(),
        "interrupt": Interrupt(40e-6, 5e-6),
        "polled": Polled(1e-3, 0.0),
    }.items():
        found = count(Counter(MHZ, timing), gates, Streams(6, 0, trials)).counts()
        assert found.dwell.mean() == pytest.approx(83_700, rel=2e-4)
        spread[name] = np.std(found.dwell)
    assert spread["hardware"] < 0.6
    assert spread["interrupt"] == pytest.approx(5.0 * np.sqrt(2.0), rel=0.1)
    # a fraction 0.7 of a scan of 1000 counts: sqrt(0.7 * 0.3) of it
    assert spread["polled"] == pytest.approx(1000.0 * np.sqrt(0.21), rel=0.05)
