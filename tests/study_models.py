"""Models of published worked examples, for the tests of the study engine."""

import math
from dataclasses import dataclass

import numpy as np

from gatesim.ground.distribution import Arcsine, Normal, Rectangular, StudentT
from gatesim.ground.draw import Draw
from gatesim.ground.quantity import Quantity
from gatesim.shopfloor.evidence.models import (
    END_GAUGE,
    H2,
    H2_TOGETHER,
    ISHIGAMI,
    MASS,
    CorrelatedModel,
    FormulaModel,
    additive,
    end_gauge,
    total,
    unit_rectangular,
)

__all__ = [
    "END_GAUGE",
    "GAUGE_BLOCK",
    "H2",
    "H2_TOGETHER",
    "ISHIGAMI",
    "MASS",
    "CorrelatedModel",
    "CurvilinearTrapezoid",
    "FormulaModel",
    "additive",
    "end_gauge",
    "total",
    "unit_rectangular",
]


@dataclass(frozen=True)
class CurvilinearTrapezoid:
    """Rectangular distribution with inexactly known limits, JCGM 101, 6.4.3."""

    word = "curvilinear trapezoid"
    half_width: float
    inexactness: float
    degrees_of_freedom = math.inf

    @property
    def std(self) -> float:
        return math.sqrt(self.half_width**2 / 3.0 + self.inexactness**2 / 9.0)

    def deviation(self, draw: Draw, name: str) -> np.ndarray:
        limit = self.half_width + self.inexactness * (2.0 * draw.uniform(f"{name} limit") - 1.0)
        return limit * (2.0 * draw.uniform(name) - 1.0)


# Inputs of JCGM 101, 9.5.2, table 10 (from memory): as above, rounded, with inexact limits
GAUGE_BLOCK = FormulaModel(
    {
        "l_s": Quantity(50_000_623.0, spread=StudentT(25.0, 18.0)),
        "d0": Quantity(215.0, spread=StudentT(6.0, 24.0)),
        "d1": Quantity(0.0, spread=StudentT(4.0, 5.0)),
        "d2": Quantity(0.0, spread=StudentT(7.0, 8.0)),
        "alpha_s": Quantity(11.5e-6, spread=Rectangular(2e-6)),
        "theta_bar": Quantity(-0.1, spread=Normal(0.2)),
        "cycle": Quantity(0.0, spread=Arcsine(0.5)),
        "d_alpha": Quantity(0.0, spread=CurvilinearTrapezoid(1e-6, 0.1e-6)),
        "d_theta": Quantity(0.0, spread=CurvilinearTrapezoid(0.050, 0.025)),
    },
    end_gauge,
)
