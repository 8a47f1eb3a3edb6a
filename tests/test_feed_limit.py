"""The highest feed rate is found where a look at every fine step has it, by a few of them only."""

import math
from pathlib import Path

import numpy as np
import pytest

from gatesim import load
from gatesim.studies.feed.feed import Feeding, feed
from gatesim.studies.feed.limits import STEPS, Curve
from gatesim.studies.feed.streams import RatePoint
from gatesim.studies.feed.supply import spacing_of

BELT = Path(__file__).parent.parent / "scenarios" / "5-belt-board.toml"
STREAMS, COUNTED = 200, 100
LOOK = np.geomspace(0.1, 2.0, 16).tolist()
STEPPED = "stepped"


def point(rate, share):
    """Streams of which that share is read correctly, the rest missed."""
    right = np.full(STREAMS, COUNTED * share).cumsum().round().astype(int)
    right = np.diff(right, prepend=0)
    fates = np.stack([right, 0 * right, 0 * right, COUNTED - right, 0 * right], axis=1)
    return RatePoint(rate, fates, np.zeros(7, int))


def random_yield(kind, rng):
    """A yield that falls with the rate, and the yield that is wanted of it."""
    at, steep = np.exp(rng.uniform(np.log(0.15), np.log(1.8))), np.exp(rng.uniform(0.0, 5.0))
    if kind == "smooth":
        return (lambda rate: math.exp(-((rate / at) ** (steep / 20.0)))), rng.uniform(0.3, 0.999)
    if kind == "steep":
        return (lambda rate: 0.5 + 0.5 / (1.0 + (rate / at) ** steep)), rng.uniform(0.6, 0.999)
    return (lambda rate: 1.0 if rate < at else 0.5), 0.99


def searched(share, least, *, shown=True):
    """The curve after the search, and how many rates it took."""
    curve = Curve(LOOK, least)
    wanted = curve.first_look(shown=shown)
    while wanted:
        curve.points.update({step: point(curve.rate(step), share(curve.rate(step))) for step in wanted})
        wanted = curve.closer()
    return curve, len(curve.points)


@pytest.mark.parametrize(("kind", "most"), [("smooth", 16 + 20), ("steep", 16 + 28), (STEPPED, 16 + 36)])
def test_limit_is_where_a_plain_halving_has_it_with_fewer_rates_than_thirds_take(kind, most):
    """For each of the three figures; thirds of the way take 36 rates beyond the first look."""
    rng, taken = np.random.default_rng(8), []
    for _ in range(12):
        share, least = random_yield(kind, rng)
        curve, count = searched(share, least)
        taken.append(count)
        for search, found in zip(curve.searches, curve.limits(), strict=True):

            def below(step, curve=curve, figure=search.figure, share=share, least=least):
                return figure(point(curve.rate(step), share(curve.rate(step)))) < least

            low, high = 0, STEPS * (len(LOOK) - 1)
            if below(low):
                assert math.isnan(found)
                continue
            if not below(high):
                assert math.isinf(found)
                continue
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (low, middle) if below(middle) else (middle, high)
            assert found == curve.rate(low)
    assert np.mean(taken) < most
    assert max(taken) <= 16 + 60


def test_a_look_that_is_not_shown_ends_at_the_same_limit_with_fewer_rates():
    both = [
        searched(lambda rate: math.exp(-((rate / 0.9) ** 2)), 0.8, shown=shown) for shown in (True, False)
    ]
    (whole, many), (thin, few) = both
    assert whole.limits() == pytest.approx(thin.limits(), rel=1e-12)
    assert few < many


def test_the_first_fall_counts_where_the_yield_rises_again():
    curve, _ = searched(lambda rate: 0.5 if 0.3 < rate < 0.5 else 1.0, 0.9)
    assert curve.limits()[0] == pytest.approx(0.3, rel=3e-4)


def test_few_parts_whose_yield_is_a_flight_of_stairs_take_few_rounds():
    """200 parts lose one more at each of eight rates; the wanted yield is that of a whole tread."""
    for seed in range(30):
        treads = np.sort(np.random.default_rng(seed).uniform(0.1, 2.0, 8))
        curve, rounds = Curve(LOOK, 0.99), 0
        wanted = curve.first_look(shown=True)
        while wanted:
            for step in wanted:
                lost = int(np.searchsorted(treads, curve.rate(step)))
                each = np.array([lost // 2, lost - lost // 2])
                fates = np.stack([100 - each, 0 * each, 0 * each, each, 0 * each], axis=1)
                curve.points[step] = RatePoint(curve.rate(step), fates, np.zeros(7, int))
            wanted, rounds = curve.closer(), rounds + 1
        assert rounds <= 15  # halving takes ten and the first look
        limit, _, _ = curve.limits()
        assert limit < treads[2] <= limit * (LOOK[1] / LOOK[0]) ** (1.01 / STEPS)


@pytest.mark.long
@pytest.mark.parametrize("pattern", ["fixed", "exponential"])
def test_yield_is_reached_at_the_limit_of_a_rig_and_not_a_thousandth_above(pattern):
    """Looked at anew with these two rates only."""
    scenario, feeding = load(BELT), Feeding(spacing_of(pattern, 0.0), 0.97, 1_000)
    limit = feed(scenario, feeding, workers=1).limit
    at, above = feed(scenario, feeding, [limit, 1.001 * limit], workers=1).points
    assert at.shares[0] >= 0.97 > above.shares[0]
