"""The distributions of JCGM 101:2008, clause 6.4, against scipy.stats."""

import hashlib
import math

import numpy as np
import pytest
import scipy.stats

from gatesim.ground.distribution import Arcsine, Normal, Rectangular, StudentT, Trapezoidal, Triangular
from gatesim.ground.draw import Nominal, Streams

# Each of ours beside the same distribution of scipy.stats, an independent library.
PAIRS = [
    (Normal(0.3), scipy.stats.norm(0.0, 0.3)),
    (Rectangular(0.4), scipy.stats.uniform(-0.4, 0.8)),
    (Triangular(0.5), scipy.stats.triang(0.5, -0.5, 1.0)),
    (Trapezoidal(0.5, 0.6), scipy.stats.trapezoid(0.2, 0.8, -0.5, 1.0)),
    (Trapezoidal(0.5, 1.0), scipy.stats.uniform(-0.5, 1.0)),
    (Arcsine(0.7), scipy.stats.arcsine(-0.7, 1.4)),
    (StudentT(0.2, 7.0), scipy.stats.t(7.0, 0.0, 0.2)),
]


@pytest.mark.parametrize(("ours", "theirs"), PAIRS)
def test_standard_uncertainty_is_the_standard_deviation(ours, theirs):
    assert ours.std == pytest.approx(theirs.std(), rel=1e-12)


@pytest.mark.parametrize(("ours", "theirs"), PAIRS)
def test_draws_follow_the_distribution(ours, theirs):
    # Kolmogorov-Smirnov at a false-alarm rate of 1e-6 a case; the seed is fixed
    draws = ours.deviation(Streams(seed=11, block=0, trials=200_000), "x")
    assert scipy.stats.kstest(draws, theirs.cdf).pvalue > 1e-6


@pytest.mark.parametrize("spread", [pair[0] for pair in PAIRS])
def test_a_nominal_draw_does_not_deviate(spread):
    assert np.abs(spread.deviation(Nominal(3), "x")).max() < 1e-15


def test_student_t_has_no_standard_deviation_up_to_two_degrees_of_freedom():
    assert math.isinf(StudentT(1.0, 2.0).std)


@pytest.mark.parametrize("seed", [0, 1, 2**32, 2**40 + 3, 2**140 + 1])
@pytest.mark.parametrize("block", [0, 7, 2**33])
def test_a_name_draws_from_the_generator_that_numpy_keys_by_seed_block_and_name(seed, block):
    # numpy.random.SeedSequence with a spawn_key, keyed by the hash of the name
    key = np.frombuffer(hashlib.blake2b(b"part.length", digest_size=8).digest(), np.uint32).tolist()
    seeds = np.random.SeedSequence(seed, spawn_key=(block, *key))
    expected = np.random.Generator(np.random.SFC64(seeds)).standard_normal(50)
    assert np.array_equal(Streams(seed, block, 50).normal("part.length"), expected)


def test_streams_depend_on_seed_block_and_name_alone():
    first = Streams(5, 2, 100)
    first.normal("something else")
    assert np.array_equal(first.normal("x"), Streams(5, 2, 100).normal("x"))
    for other in (Streams(6, 2, 100).normal("x"), Streams(5, 3, 100).normal("x"), first.normal("y")):
        assert not np.array_equal(first.normal("x"), other)
