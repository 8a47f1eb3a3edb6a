"""Models of published worked examples, run by the engine that studies rigs."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from gatesim.ground.arrays import Scalar
from gatesim.ground.correlation import Correlation
from gatesim.ground.distribution import Arcsine, Normal, Rectangular, Spread, StudentT
from gatesim.ground.draw import Draw
from gatesim.ground.quantity import Quantity
from gatesim.studies.model import Trials


@dataclass(frozen=True)
class FormulaModel:
    """y = formula(values), SI or any unit; a "reading" of a "true length" of zero, so that the error is y."""

    inputs: Mapping[str, Quantity]
    formula: Callable[[Mapping[str, Any]], Any]
    identity: str = "formula"

    def evaluate(self, values: Mapping[str, Scalar], draw: Draw, *, quantised: bool = True) -> Trials:
        """See `gatesim.studies.model.Model.evaluate`."""
        y = np.broadcast_to(np.asarray(self.formula(values), np.float64), (draw.trials,))
        return Trials({"y": y}, np.zeros(draw.trials), np.zeros(draw.trials, np.int64))


def total(values: Mapping[str, Any]) -> Any:
    """Sum of the inputs."""
    return sum(values.values())


def additive(*spreads: Spread) -> FormulaModel:
    """The additive model of JCGM 101, 9.2.1."""
    return FormulaModel({f"x{i}": Quantity(0.0, spread=s) for i, s in enumerate(spreads)}, total)


def unit_rectangular(std: float = 1.0) -> Rectangular:
    """Rectangular distribution of that standard deviation."""
    return Rectangular(std * math.sqrt(3.0))


def mass_difference(v: Mapping[str, Any]) -> Any:
    """JCGM 101, 9.3.1.3, formula (32): deviation of the mass from 100 g, in mg."""
    buoyancy = (v["rho_a"] - 1.2) * (1.0 / v["rho_w"] - 1.0 / v["rho_r"])
    return (v["m_rc"] + v["dm_rc"]) * (1.0 + buoyancy) - 100_000.0


MASS = FormulaModel(
    {
        "m_rc": Quantity(100_000.000, spread=Normal(0.050)),
        "dm_rc": Quantity(1.234, spread=Normal(0.020)),
        "rho_a": Quantity(1.20, spread=Rectangular(0.10)),
        "rho_w": Quantity(8000.0, spread=Rectangular(1000.0)),
        "rho_r": Quantity(8000.0, spread=Rectangular(50.0)),
    },
    mass_difference,
)


def end_gauge(v: Mapping[str, Any]) -> Any:
    """JCGM 100, H.1.2, formula (H.3): length of the end gauge, in nm."""
    d = v["d0"] + v["d1"] + v["d2"]
    theta = v["theta_bar"] + v["cycle"]
    return v["l_s"] + d - v["l_s"] * (v["d_alpha"] * theta + v["alpha_s"] * v["d_theta"])


# Inputs of JCGM 100, H.1, table H.1 (read in the worked copy of an open uncertainty calculator)
END_GAUGE = FormulaModel(
    {
        "l_s": Quantity(50_000_623.0, spread=StudentT(25.0, 18.0)),
        "d0": Quantity(215.0, spread=StudentT(5.8, 24.0)),
        "d1": Quantity(0.0, spread=StudentT(3.9, 5.0)),
        "d2": Quantity(0.0, spread=StudentT(6.7, 8.0)),
        "alpha_s": Quantity(11.5e-6, spread=Rectangular(2e-6)),
        "theta_bar": Quantity(-0.1, spread=Normal(0.2)),
        "cycle": Quantity(0.0, spread=Arcsine(0.5)),
        "d_alpha": Quantity(0.0, spread=Normal(1e-6 / math.sqrt(3.0), 50.0)),
        "d_theta": Quantity(0.0, spread=Normal(0.05 / math.sqrt(3.0), 2.0)),
    },
    end_gauge,
)


def ishigami(v: Mapping[str, Any]) -> Any:
    """Ishigami and Homma (1990), a = 7, b = 0.1."""
    return np.sin(v["x1"]) + 7.0 * np.sin(v["x2"]) ** 2 + 0.1 * v["x3"] ** 4 * np.sin(v["x1"])


ISHIGAMI = FormulaModel({f"x{i}": Quantity(0.0, spread=Rectangular(math.pi)) for i in (1, 2, 3)}, ishigami)


@dataclass(frozen=True)
class CorrelatedModel(FormulaModel):
    """A formula of a textbook whose inputs go together."""

    correlations: tuple[Correlation, ...] = ()


# JCGM 100:2008, H.2, tables H.2 to H.4 (from memory; u of the results recomputed by formula (16))
H2 = {
    "V": Quantity(4.9990, spread=Normal(0.0032)),
    "I": Quantity(19.6610e-3, spread=Normal(0.0095e-3)),
    "phi": Quantity(1.04446, spread=Normal(0.00075)),
}
H2_TOGETHER = Correlation(("V", "I", "phi"), ((1.0, -0.36, 0.86), (-0.36, 1.0, -0.65), (0.86, -0.65, 1.0)))
