"""Uncertainty: worked examples of the guides, through the engine that studies rigs."""

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from gatesim.ground.distribution import Arcsine, Normal, Rectangular, StudentT, Trapezoidal, Triangular
from gatesim.shopfloor.evidence.check import Check
from gatesim.shopfloor.evidence.models import (
    END_GAUGE,
    H2,
    H2_TOGETHER,
    ISHIGAMI,
    MASS,
    CorrelatedModel,
    FormulaModel,
    additive,
    unit_rectangular,
)
from gatesim.studies.budget import budget
from gatesim.studies.engine import study
from gatesim.studies.indices import sobol_indices
from gatesim.studies.plan import Plan

MEMORY = "from memory, confirmed by an independent simulation"
DRAWS = "rounding of the published value and 4 standard errors of the draws"


def _simulated(model: FormulaModel, trials: int) -> tuple[float, float, float]:
    """Standard uncertainty and ends of the symmetric 95 % interval."""
    found = study(model, Plan(trials=trials), workers=1).formulas["y"]
    return found.uncertainty.value, found.low.value, found.high.value


def _mass() -> tuple[float, float]:
    found = study(MASS, Plan(trials=400_000), workers=1).formulas["y"]
    return found.bias.value, found.uncertainty.value


def _linear(model: FormulaModel) -> tuple[float, float]:
    table = budget(model, "y")
    return table.combined, table.expanded


def _together(formula: Callable[[Mapping[str, Any]], Any]) -> tuple[float, float]:
    table = budget(CorrelatedModel(H2, formula, correlations=(H2_TOGETHER,)), "y")
    return table.error, table.combined


def _ishigami() -> list[float]:
    found = {i.name: i for i in sobol_indices(ISHIGAMI, "y", trials=65_536, workers=1).indices}
    return [v for name in ("x1", "x2", "x3") for v in (found[name].first, found[name].total)]


def _four(*spreads: Any) -> Callable[[], Any]:
    return lambda: _simulated(additive(*spreads), 400_000)


WIDE = (unit_rectangular(10.0), *[unit_rectangular()] * 3)

CHECKS = (
    Check(
        "Standard uncertainties of bounded distributions of half-width 1",
        "JCGM 101:2008, table 1 and JCGM 100:2008, 4.3; from memory",
        (1 / math.sqrt(3.0), 1 / math.sqrt(6.0), 1 / math.sqrt(2.0), math.sqrt((1.0 + 0.25) / 6.0)),
        lambda: [d.std for d in (Rectangular(1.0), Triangular(1.0), Arcsine(1.0), Trapezoidal(1.0, 0.5))],
        1e-15, "closed form",
    ),
    Check(
        "A scaled and shifted t-distribution has s sqrt(nu/(nu - 2))",
        "JCGM 101:2008, 6.4.9; from memory", (1.5 * math.sqrt(5.0 / 3.0),), lambda: StudentT(1.5, 5.0).std,
        1e-15, "closed form",
    ),
    Check(
        "Four normal inputs: u = 2.00, 95 % within -3.92 and 3.92",
        f"JCGM 101:2008, 9.2.2; {MEMORY}", (2.00, -3.92, 3.92), _four(*[Normal(1.0)] * 4), 0.035, DRAWS,
        quick=False,
    ),
    Check(
        "Four rectangular inputs: u = 2.00, 95 % within -3.88 and 3.88",
        f"JCGM 101:2008, 9.2.3; {MEMORY}", (2.00, -3.88, 3.88), _four(*[unit_rectangular()] * 4), 0.035,
        DRAWS, quick=False,
    ),
    Check(
        "One of them ten times as wide: u = 10.1, 95 % within -17.0 and 17.0",
        f"JCGM 101:2008, 9.2.4; {MEMORY}", (10.1, -17.0, 17.0), _four(*WIDE), 0.11, DRAWS, quick=False,
    ),
    Check(
        "The linear budget gives 10.1 and 19.9 there, which is too wide",
        f"JCGM 101:2008, 9.2.4; {MEMORY}", (10.1, 19.9), lambda: _linear(additive(*WIDE)), 0.055,
        "rounding of the published values", quick=False,
    ),
    Check(
        "Mass calibration: 1.2341 mg, u = 0.0754 mg",
        f"JCGM 101:2008, 9.3; {MEMORY}", (1.2341, 0.0754), _mass, 0.0006, DRAWS, "mg", quick=False,
    ),
    Check(
        "Mass calibration, first-order budget: u = 0.0539 mg",
        f"JCGM 101:2008, 9.3; {MEMORY}", (0.0539,), lambda: budget(MASS, "y").combined, 0.00005,
        "rounding of the published value", "mg",
    ),
    Check(
        "End-gauge calibration: l = 50 000 838 nm, u = 32 nm",
        "JCGM 100:2008, H.1; read in worked copies of the example", (50_000_838.0, 32.0),
        lambda: (budget(END_GAUGE, "y").error, budget(END_GAUGE, "y").combined), 0.5,
        "rounding of the published values", "nm",
    ),
    Check(
        "Resistance from voltage, current and phase that go together: 127.732 ohm, u = 0.071",
        f"JCGM 100:2008, H.2; {MEMORY}", (127.732, 0.071),
        lambda: _together(lambda v: v["V"] / v["I"] * np.cos(v["phi"])), 0.0011,
        "three decimals published, from coefficients of two", "ohm",
    ),
    Check(
        "Reactance: 219.847 ohm, u = 0.295",
        f"JCGM 100:2008, H.2; {MEMORY}", (219.847, 0.295),
        lambda: _together(lambda v: v["V"] / v["I"] * np.sin(v["phi"])), 0.0011,
        "three decimals published, from coefficients of two", "ohm",
    ),
    Check(
        "Impedance: 254.260 ohm, u = 0.236",
        f"JCGM 100:2008, H.2; {MEMORY}", (254.260, 0.236), lambda: _together(lambda v: v["V"] / v["I"]),
        0.0011, "three decimals published, from coefficients of two", "ohm",
    ),
    Check(
        "Sobol indices of the Ishigami function, a = 7, b = 0.1: first order and total of each input",
        "Ishigami and Homma (1990); Saltelli et al., Global Sensitivity Analysis (2008); from memory",
        (0.3139, 0.5576, 0.4424, 0.4424, 0.0, 0.2437), _ishigami, 0.015, "estimated from 65,536 points",
        quick=False,
    ),
)  # fmt: skip
