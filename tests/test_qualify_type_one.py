"""Type-1 and linearity studies against the worked examples of the MSA manual."""

import math

import numpy as np
import pytest

from gatesim.shopfloor.evidence.capability import BIAS, READINGS, REFERENCES
from gatesim.shopfloor.typeone import linearity, type_one
from gatesim.studies.convention import CONVENTIONS


def test_the_bias_study_of_the_manual_gives_its_t_and_limits() -> None:
    study = type_one(np.array(BIAS), 6.0, 1.0, CONVENTIONS["msa"])
    assert study.bias == pytest.approx(0.0067, abs=5e-5)
    assert study.t_statistic == pytest.approx(0.1217, abs=1.5e-4)
    assert study.p_value == pytest.approx(0.9048, abs=1e-4)
    assert study.bias_interval == pytest.approx((-0.1107, 0.1241), abs=1e-4)


def test_the_linearity_study_of_the_manual_gives_its_line() -> None:
    line = linearity(np.ravel(READINGS), np.repeat(REFERENCES, 12))
    # Figure III-B 3 and the statistics beside it (read in copies).
    assert line.intercept == pytest.approx(0.736667, abs=5e-7)
    assert line.slope == pytest.approx(-0.131667, abs=5e-7)
    assert line.r_squared == pytest.approx(0.714, abs=5e-4)
    assert abs(line.t_slope) == pytest.approx(12.043, abs=5e-4)
    assert line.t_intercept == pytest.approx(10.158, abs=5e-4)
    assert line.degrees_of_freedom == 58
    assert line.bias == pytest.approx([0.491667, 0.125, 0.025, -0.291667, -0.616667], abs=5e-7)
    assert line.residual_std == pytest.approx(0.240, abs=5e-4)
    assert not line.zero_within_band


def test_the_two_conventions_differ_by_the_spread_they_ascribe_to_the_gauge() -> None:
    iso = type_one(np.array(BIAS), 6.0, 4.0, CONVENTIONS["iso"])
    msa = type_one(np.array(BIAS), 6.0, 4.0, CONVENTIONS["msa"])
    s = np.std(BIAS, ddof=1)
    # C_g = 0.2 T / (4 or 6 s), C_gk = (0.1 T - |bias|) / (2 or 3 s): ISO 22514-7, MSA manual (memory).
    assert iso.c_g == pytest.approx(0.8 / (4 * s), rel=1e-12)
    assert msa.c_g == pytest.approx(0.8 / (6 * s), rel=1e-12)
    assert iso.c_gk == pytest.approx((0.4 - 0.1 / 15) / (2 * s), rel=1e-9)
    assert msa.c_gk == pytest.approx((0.4 - 0.1 / 15) / (3 * s), rel=1e-9)


def test_a_gauge_that_does_not_scatter_has_infinite_indices_of_the_right_sign() -> None:
    near = type_one(np.full(5, 6.01), 6.0, 1.0, CONVENTIONS["iso"])
    far = type_one(np.full(5, 6.2), 6.0, 1.0, CONVENTIONS["iso"])
    assert near.c_g == near.c_gk == math.inf
    assert far.c_gk == -math.inf
    assert near.p_value == 0.0


def test_one_indication_is_no_study() -> None:
    with pytest.raises(ValueError, match="at least 2"):
        type_one(np.array([6.0]), 6.0, 1.0, CONVENTIONS["iso"])


def test_lack_of_fit_sees_a_curve_and_passes_a_line() -> None:
    rng = np.random.default_rng(5)
    at = np.repeat([1.0, 2.0, 3.0, 4.0, 5.0], 20)
    noise = rng.normal(0.0, 0.1, at.size)
    assert linearity(at + 0.2 * at + noise, at).p_lack_of_fit > 0.01
    assert linearity(at + 0.2 * (at - 3.0) ** 2 + noise, at).p_lack_of_fit < 1e-6


def test_linearity_reproduces_the_certified_line_of_the_ozone_monitors() -> None:
    # NIST Statistical Reference Datasets, Norris: ozone monitors against the reference instrument,
    # certified slope, intercept and their standard deviations (from memory, confirmed: they come out).
    reading = """0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8 339.3
    448.9 10.8 557.7 228.3 998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0 998.5 778.9 10.2 117.6 228.9
    668.4 449.2 0.2"""
    reference = """0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5 666.9 338.0
    447.5 11.6 556.0 228.1 995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2 999.0 779.0 11.1 118.3 229.2
    669.1 448.9 0.5"""
    line = linearity(np.array(reading.split(), dtype=float), np.array(reference.split(), dtype=float))
    assert line.slope + 1.0 == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope_std == pytest.approx(0.429796848199937e-03, rel=1e-10)
    assert line.intercept_std == pytest.approx(0.232818234301152, rel=1e-10)
    assert line.residual_std == pytest.approx(0.884796396144373, rel=1e-10)
