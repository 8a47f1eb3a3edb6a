"""A spread must stay where its quantity can be: a rig has no negative spacing in any trial."""

import math

import pytest
from scipy.stats import norm

from gatesim.ground.distribution import Normal
from gatesim.ground.errors import InputError
from gatesim.ground.keys import MOST_BEYOND, Reader
from gatesim.scenario import parse_text

LENGTH = Reader("m", 'a length above 0 such as "120 mm"', low=0.0, above=True)
SLIP = Reader("", 'a share of 0 or more such as "1 %"', low=0.0)
SHARE = Reader("", 'a share from 0 to 1 such as "50 %"', low=0.0, high=1.0)


def table(value, word, **sizes):
    return {"value": value, "distribution": word, **sizes}


@pytest.mark.parametrize("word", ["rectangular", "triangular", "arcsine", "trapezoidal"])
def test_bounded_spread_whose_end_leaves_the_range_is_refused(word):
    more = {"top_ratio": 0.5} if word == "trapezoidal" else {}
    LENGTH(table("50 mm", word, half_width="49.99 mm", **more))
    for half_width in ("50 mm", "60 mm"):  # at 50 mm the end is 0, and a length is above 0
        with pytest.raises(ValueError, match="its spread reaches out of range"):
            LENGTH(table("50 mm", word, half_width=half_width, **more))


def test_bounded_spread_may_end_on_a_limit_that_belongs_to_the_range():
    SLIP(table("0.02 %", "rectangular", half_width="0.02 %"))
    SHARE(table("90 %", "rectangular", half_width="10 %"))
    with pytest.raises(ValueError, match="its spread reaches out of range"):
        SLIP(table("0.02 %", "rectangular", half_width="0.021 %"))
    with pytest.raises(ValueError, match="its spread reaches out of range"):
        SHARE(table("90 %", "rectangular", half_width="11 %"))


def test_normal_spread_is_refused_from_one_in_a_thousand_out_of_range():
    # scipy's normal distribution, an independent library, says how many standard deviations that is
    limit = -norm.ppf(MOST_BEYOND)
    fits, leaves = 50.0 / (limit * 1.001), 50.0 / (limit * 0.999)
    assert isinstance(LENGTH(table("50 mm", "normal", standard_uncertainty=f"{fits} mm")).spread, Normal)
    with pytest.raises(ValueError, match="its spread reaches out of range"):
        LENGTH(table("50 mm", "normal", standard_uncertainty=f"{leaves} mm"))


def test_both_tails_of_a_normal_spread_count():
    u = 50.0 / -norm.ppf(MOST_BEYOND / 2.0)
    SHARE(table("50 %", "normal", standard_uncertainty=f"{0.999 * u} %"))
    with pytest.raises(ValueError, match="its spread reaches out of range"):
        SHARE(table("50 %", "normal", standard_uncertainty=f"{1.001 * u} %"))


def test_t_distribution_needs_room_for_3_3_scales():
    t = {"degrees_of_freedom": 5}
    LENGTH(table("33.1 mm", "student-t", standard_uncertainty="10 mm", **t))
    with pytest.raises(ValueError, match="its spread reaches out of range"):
        LENGTH(table("32.9 mm", "student-t", standard_uncertainty="10 mm", **t))


def test_quantity_without_limits_takes_any_spread():
    offset = Reader("m", 'a signed distance such as "-0.5 mm"')
    for size in ("1 mm", "1 km"):
        found = offset(table("0 mm", "normal", standard_uncertainty=size))
        assert math.isfinite(found.std)


def test_scenario_with_such_a_spread_is_refused_in_one_sentence_with_the_value():
    text = """
[part]
length = "120 mm"
[path]
slope = "30 deg"
[gate]
first = "200 mm"
spacing = { value = "50 mm", distribution = "rectangular", half_width = "60 mm" }
[counter]
frequency = "1 MHz"
"""
    sentence = (
        r"gate\.spacing: given '50 mm' with a spread \(its spread reaches out of range\), expected a length"
    )
    with pytest.raises(InputError, match=sentence):
        parse_text(text)
