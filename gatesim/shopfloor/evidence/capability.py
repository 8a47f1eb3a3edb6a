"""Capability: worked examples of gauge studies, decision rules, and the integer form."""

import math

import numpy as np

from gatesim.formula import Constants
from gatesim.formula.integer.machine import run, truncated
from gatesim.shopfloor.decision import conformance_probability, guarded, risks
from gatesim.shopfloor.evidence.check import Check
from gatesim.shopfloor.gaugestudy import GaugeStudy
from gatesim.shopfloor.integer.build import Stated, build
from gatesim.shopfloor.integer.vectors import passage
from gatesim.shopfloor.repeatability import gauge_study
from gatesim.shopfloor.typeone import linearity, type_one
from gatesim.studies.convention import CONVENTIONS

AIAG = """
 0.29 -0.56  1.34  0.47 -0.80  0.02  0.59 -0.31  2.26 -1.36
 0.41 -0.68  1.17  0.50 -0.92 -0.11  0.75 -0.20  1.99 -1.25
 0.64 -0.58  1.27  0.64 -0.84 -0.21  0.66 -0.17  2.01 -1.31
 0.08 -0.47  1.19  0.01 -0.56 -0.20  0.47 -0.63  1.80 -1.68
 0.25 -1.22  0.94  1.03 -1.20  0.22  0.55  0.08  2.12 -1.62
 0.07 -0.68  1.34  0.20 -1.28  0.06  0.83 -0.34  2.19 -1.50
 0.04 -1.38  0.88  0.14 -1.46 -0.29  0.02 -0.46  1.77 -1.49
-0.11 -1.13  1.09  0.20 -1.07 -0.67  0.01 -0.56  1.45 -1.77
-0.15 -0.96  0.67  0.11 -1.45 -0.49  0.21 -0.49  1.87 -2.16
"""
"""Measurement Systems Analysis, 4th ed. (2010): 10 parts, 3 appraisers, 3 trials; from memory, recomputed."""

BIAS = [5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1, 6.2, 5.6, 6.0]
"""The manual's bias study of 15 readings against 6.00 (read in copies of the table)."""

REFERENCES = [2.0, 4.0, 6.0, 8.0, 10.0]
READINGS = [
    [2.7, 2.5, 2.4, 2.5, 2.7, 2.3, 2.5, 2.5, 2.4, 2.4, 2.6, 2.4],
    [5.1, 3.9, 4.2, 5.0, 3.8, 3.9, 3.9, 3.9, 3.9, 4.0, 4.1, 3.8],
    [5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1],
    [7.6, 7.7, 7.8, 7.7, 7.8, 7.8, 7.8, 7.7, 7.8, 7.5, 7.6, 7.7],
    [9.1, 9.3, 9.5, 9.3, 9.4, 9.5, 9.5, 9.5, 9.6, 9.2, 9.3, 9.4],
]
"""The manual's table III-B 4 (read in copies of the table)."""

MANUAL = "AIAG, Measurement Systems Analysis, 4th ed. (2010)"
PRINTED = "rounding of the printed figures"


def _study() -> GaugeStudy:
    """The study of 10 parts with the interaction pooled."""
    y = np.array(AIAG.split(), dtype=float).reshape(3, 3, 10).transpose(2, 0, 1)
    part, operator, _ = np.indices(y.shape)
    labels = ([f"P{i}" for i in part.ravel()], [f"O{i}" for i in operator.ravel()])
    return gauge_study(y.ravel(), *labels).without_interaction


def _components() -> list[float]:
    found = _study().components
    names = ("repeatability", "reproducibility", "gauge", "part", "total")
    return [found[name].std for name in names]


def _squares() -> list[float]:
    y = np.array(AIAG.split(), dtype=float).reshape(3, 3, 10).transpose(2, 0, 1)
    part, operator, _ = np.indices(y.shape)
    found = gauge_study(y.ravel(), [f"P{i}" for i in part.ravel()], [f"O{i}" for i in operator.ravel()])
    assert found.with_interaction is not None
    return sorted(row.squares for row in found.with_interaction.table if row.source != "total")


def _bias() -> list[float]:
    found = type_one(np.array(BIAS), 6.0, 1.0, CONVENTIONS["msa"])
    return [found.bias, found.t_statistic, found.p_value, *found.bias_interval]


def _line() -> list[float]:
    found = linearity(np.ravel(READINGS), np.repeat(REFERENCES, 12))
    return [found.intercept, found.slope]


def _integer(formula: str) -> float:
    """Length in mm by the integer program for a part of 150 mm at 2 m/s counted at 100 kHz."""
    held = Constants(0.06, 0.4, 1e-5, 0.00015, 0.0, 0.25)
    stated = Stated(lengths=(0.1, 0.25), speeds=(1.0, 5.0))
    made = build(formula, held, stated)
    return run(made.program, passage(made, held, 0.15, 2.0)).length * made.program.unit * 1e3


def _indices() -> list[float]:
    """C_g and C_gk of indications with s = 0.1 and a bias of 0.05 at T = 5, by both conventions."""
    indications = np.array([-0.1, 0.0, 0.1]) + 10.05
    found = [type_one(indications, 10.0, 5.0, CONVENTIONS[name]) for name in ("iso", "msa")]
    return [v for study in found for v in (study.c_g, study.c_gk)]


def _risks() -> list[float]:
    """Consumer's and producer's risk, tolerance -1..1, process N(0, 0.5), u = 0.2, guard band 0.4."""
    found = risks(0.0, 0.5, 0.2, guarded(-1.0, 1.0, 0.2, 2.0))
    return [found.consumer, found.producer]


def _bivariate() -> list[float]:
    """The same from the bivariate normal distribution of length and indication, by Owen's T function."""
    from scipy.special import ndtr, owens_t

    x, y, correlation = 1.0 / 0.5, 0.6 / math.sqrt(0.29), 0.25 / (0.5 * math.sqrt(0.29))
    rest = math.sqrt(1.0 - correlation**2)

    def below(h: float, k: float) -> float:
        apart = 0.0 if h * k > 0.0 else 0.5
        t = owens_t(h, (k / h - correlation) / rest) + owens_t(k, (h / k - correlation) / rest)
        return float(0.5 * (ndtr(h) + ndtr(k)) - t - apart)

    good = below(x, y) - below(x, -y) - below(-x, y) + below(-x, -y)
    accepted, conforming = (float(ndtr(v) - ndtr(-v)) for v in (y, x))
    return [accepted - good, conforming - good]


CHECKS = (
    Check(
        "C_g = 0.2 T/(4 s), C_gk = (0.1 T - |bias|)/(2 s), and with 6 s and 3 s",
        "ISO 22514-7 and the MSA manual; from memory", (2.5, 2.25, 5.0 / 3.0, 1.5), _indices, 1e-9,
        "arithmetic",
    ),
    Check(
        "Bias study of 15 readings: bias, t, p and 95 % limits",
        f"{MANUAL}; read in copies", (0.0067, 0.1217, 0.9048, -0.1107, 0.1241), _bias, 1.5e-4, PRINTED,
    ),
    Check(
        "Linearity study: intercept and slope of the bias",
        f"{MANUAL}, table III-B 4; read in copies", (0.736667, -0.131667), _line, 5e-7, PRINTED,
    ),
    Check(
        "Analysis of variance: interaction, repeatability, appraiser, parts",
        f"{MANUAL}; from memory, recomputed", (0.3590, 2.7589, 3.1673, 88.3619), _squares, 5e-5, PRINTED,
    ),
    Check(
        "Repeatability, reproducibility, gauge, part and total standard deviation",
        f"{MANUAL}; from memory, recomputed", (0.199933, 0.226838, 0.302372, 1.042327, 1.085300), _components,
        2e-6, PRINTED,
    ),
    Check(
        "27.86 % of the total variation is the gauge's; 4.86 categories",
        f"{MANUAL}; from memory, recomputed", (27.86, 4.86),
        lambda: (100.0 * _study().components["gauge"].of_total, _study().categories), 0.005, PRINTED,
    ),
    Check(
        "Acceptance limits are drawn in by the expanded uncertainty",
        "ISO 14253-1; from memory", (9.6, 10.4),
        lambda: (guarded(9.5, 10.5, 0.05).accept_lower, guarded(9.5, 10.5, 0.05).accept_upper), 1e-12,
        "arithmetic",
    ),
    Check(
        "An indication at a limit conforms with probability 1/2, one 2 u inside with 97.7 %",
        "JCGM 106:2012, 7.2; normal distribution, any table", (0.5, 0.977250),
        lambda: [float(conformance_probability(x, 0.05, -math.inf, 10.0)) for x in (10.0, 9.9)], 5e-7,
        "rounding of the table",
    ),
    Check(
        "Consumer's and producer's risk with a guard band of 2 u",
        "JCGM 106:2012, 9.5; Owen, Ann. Math. Stat. 27 (1956) 1075, formula from memory", _bivariate, _risks,
        1e-7,
        "numerical integration on either side",
    ),
    Check(
        "Integer division rounds towards zero",
        "IEC 61131-3, integer division; from memory", (3.0, -3.0, -3.0),
        lambda: [truncated(7, 2), truncated(-7, 2), truncated(7, -2)], 0.0, "integers",
    ),
    *(
        Check(
            f"The integer form of {name} reads a part of 150 mm as the formula does",
            "L = v T, any mechanics text; derived", (150.0,), lambda name=name: _integer(name), 0.05,  # type: ignore[misc]
            "counts of 10 us at 2 m/s and the last digit of integer division", "mm",
        )
        for name in ("spacing-dwell", "known-acceleration", "four-edge", "three-gates")
    ),
)  # fmt: skip
