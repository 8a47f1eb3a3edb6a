"""From light to the sensor's output: delays, jitter, pulsed light, chatter."""

import math

import numpy as np
import pytest
from scipy import stats

from gatesim.ground.draw import Nominal, Streams, further, further_normal
from gatesim.sensor import Chatter, Response, respond

N = 20_000


def passages(n, first=1.0, dark=0.1):
    return np.tile([first, first + dark], (n, 1))


def test_dark_and_light_edges_are_late_by_their_own_delays():
    times = np.array([[1.0, 2.0, 3.0, 4.0]])
    found = respond(Response(dark_delay=0.1, light_delay=np.array([0.25])), times, Nominal(1), 1)
    np.testing.assert_allclose(found, [[1.1, 2.25, 3.1, 4.25]], rtol=1e-15)


def test_jitter_is_normal_and_independent_from_edge_to_edge():
    found = respond(Response(jitter=2e-6), passages(N), Streams(1, 0, N), 1) - passages(N)
    assert stats.kstest(found.ravel() / 2e-6, "norm").pvalue > 1e-3
    assert abs(np.corrcoef(found.T)[0, 1]) < 4.0 / np.sqrt(N)
    other_gate = respond(Response(jitter=2e-6), passages(N), Streams(1, 0, N), 2) - passages(N)
    assert abs(np.corrcoef(found[:, 0], other_gate[:, 0])[0, 1]) < 4.0 / np.sqrt(N)


@pytest.mark.parametrize("row", [1, 3])
def test_a_pulsed_sensor_is_late_uniformly_over_one_period_and_by_the_samples_it_waits_for(row):
    period = 1e-4
    times = passages(N) + np.linspace(0.0, 1.7e-3, N)[:, None]
    found = respond(Response(sampling_period=period, samples_in_row=row), times, Streams(3, 0, N), 1)
    late = (found - times) / period - (row - 1)
    assert stats.kstest(late[:, 0], "uniform").pvalue > 1e-3
    # both edges wait for the same samples: the dark time is a whole number of periods
    dark = (found[:, 1] - found[:, 0]) / period
    np.testing.assert_allclose(dark, np.round(dark), atol=1e-6)


@pytest.mark.parametrize("dark", [2.5, 3.5])
def test_a_pulse_of_fewer_samples_than_needed_is_not_seen(dark):
    # seen if the samples that fall into it are at least 3: never below 2, always from 3 periods on
    found = respond(
        Response(sampling_period=1.0, samples_in_row=3), passages(N, 5.0, dark), Streams(4, 0, N), 1
    )
    seen = np.isfinite(found[:, 0]).mean()
    assert seen == 1.0 if dark > 3.0 else abs(seen - 0.5) < 4.0 * 0.5 / np.sqrt(N)


def test_edges_that_overtake_each_other_are_no_pulse():
    times = np.array([[1.0, 1.1, 3.0, 4.0]])
    found = respond(Response(dark_delay=0.2), times, Nominal(1), 1)
    np.testing.assert_allclose(found, [[3.2, 4.0]], rtol=1e-15)


def test_chatter_adds_a_poisson_number_of_pulses_with_exponential_spacing():
    mean, spacing = 1.3, 1e-5
    found = respond(Response(chatter=Chatter(mean, spacing)), passages(N), Streams(5, 0, N), 1)
    extra = (np.isfinite(found).sum(axis=1) - 2) // 2  # after both edges together
    counts = np.bincount(extra, minlength=12)[:12]
    expected = stats.poisson.pmf(np.arange(12), 2.0 * mean) * N
    assert ((counts - expected) ** 2 / np.maximum(expected, 5.0)).sum() < stats.chi2.ppf(0.999, 11)
    first = found[:, 1] - found[:, 0]
    first = first[first < 0.05]  # the edge was followed by a pulse
    assert stats.kstest(first / spacing, "expon").pvalue > 1e-3
    assert (found[:, 1] > found[:, 0]).all()


def test_no_pulse_is_cut_off_however_many_there_are():
    # Poisson: mean and variance are both the mean number, also far beyond a dozen
    mean = 30.0
    found = respond(Response(chatter=Chatter(mean, 1e-7)), passages(N), Streams(5, 0, N), 1)
    pulses = (np.isfinite(found).sum(axis=1) - 2) / 2.0  # of both edges: a Poisson number of mean 2 mean
    assert pulses.mean() == pytest.approx(2.0 * mean, abs=5.0 * math.sqrt(2.0 * mean / N))
    assert pulses.var() == pytest.approx(2.0 * mean, rel=0.1)


@pytest.mark.parametrize("mean", [0.7, 14.0])
def test_chatter_is_that_of_a_walk_from_pulse_to_pulse(mean):
    # the same random numbers, one edge and one pulse at a time; a dozen pulses have theirs side by side
    n, spacing = 60, np.linspace(1e-5, 1e-3, 60)
    times, draw = passages(n, 1.0, 0.01), Streams(7, 0, n)
    found = respond(Response(chatter=Chatter(mean, spacing)), times, draw, 1)
    wanted = stats.poisson.ppf(draw.uniform("sensor.chatter_pulses@1", 2), mean)
    seed = draw.uniform("sensor.chatter_spacing@1")
    for trial in range(n):
        expected = []
        for edge, until in enumerate((times[trial, 1], math.inf)):
            now = times[trial, edge]
            expected.append(now)
            for pulse in range(int(wanted[trial, edge])):
                first = 12 * edge + pulse if pulse < 12 else 2**40 + 2**20 * edge + pulse
                numbers = further(seed[trial : trial + 1], np.array([2 * first, 2 * first + 1]))
                goes, comes = now - spacing[trial] * np.cumsum(np.log(numbers))
                if comes >= until:
                    break
                expected += [goes, comes]
                now = comes
        row = found[trial]
        np.testing.assert_allclose(row[np.isfinite(row)], expected, rtol=1e-14)


def test_chatter_never_reaches_past_the_next_edge():
    times = passages(N, 1.0, 2e-5)
    found = respond(Response(chatter=Chatter(3.0, 1e-5)), times, Streams(6, 0, N), 1)
    assert (np.isfinite(found).sum(axis=1) % 2 == 0).all()
    with np.errstate(invalid="ignore"):  # padding less padding
        assert not (np.diff(found, axis=1) < 0.0).any()
    # the part's own trailing edge is still an edge to light
    assert all(1.0 + 2e-5 in row[1::2] for row in found[:500].tolist())


def test_further_draws_of_a_trial_are_uniform_and_unrelated():
    seed = np.random.default_rng(0).random(200)[:, None]
    drawn = further(seed, np.arange(500))
    assert stats.kstest(drawn.ravel(), "uniform").pvalue > 1e-3
    for pairs in (drawn[:, :-1].ravel(), drawn[:-1].ravel()):
        others = drawn[:, 1:].ravel() if pairs.size == 200 * 499 else drawn[1:].ravel()
        assert abs(np.corrcoef(pairs, others)[0, 1]) < 4.0 / np.sqrt(pairs.size)
    assert stats.kstest(further_normal(seed, np.arange(500)).ravel(), "norm").pvalue > 1e-3


def test_further_draws_are_those_of_split_mix_64():
    # first outputs of the reference generator from state 1234567 (widely printed), keyed directly
    from gatesim.ground import draw

    state = np.uint64(1234567)
    steps = np.arange(1, 4, dtype=np.uint64) * draw._STEP
    expected = [6457827717110365317, 3203168211198807973, 9817491932198370423]
    assert draw._mixed(state + steps).tolist() == expected


def test_no_chance_at_all_gives_medians():
    assert further(np.array([0.5]), np.arange(4)).tolist() == [0.5] * 4
    assert further_normal(np.array([0.5]), np.arange(4)).tolist() == [0.0] * 4
