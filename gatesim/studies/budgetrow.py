"""Lines of an uncertainty budget."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

from gatesim.ground.data import Keys
from gatesim.ground.level import Level
from gatesim.ground.quantity import Quantity

NEGLIGIBLE = 1e-9  # of the combined standard uncertainty
SIMULATED = "simulated"


@dataclass(frozen=True)
class BudgetRow:
    """One line of the budget; all in SI.

    ``sensitivity``: derivative of the error by the quantity; ``contribution`` = sensitivity
    times u, in m, NaN if the part is no longer read within one u of the nominal value.
    ``curvature``: how far the mean of the errors at plus and minus u is from the nominal
    error, in m: it is 0 for a linear model. ``secant`` tells that the derivative did not
    converge (a kink), and the slope between minus and plus u stands in its place
    (JCGM 100, 5.1.3, note 2). ``share``: part of the combined variance, 0 to 1.
    ``per``: how often the quantity is drawn. ``staircase``: a stage that samples, or rounding.
    """

    name: str
    value: float
    u: float
    distribution: str
    degrees_of_freedom: float
    sensitivity: float
    contribution: float
    curvature: float
    secant: bool
    unit: str = ""
    per: Level = "passage"
    share: float = math.nan
    staircase: bool = False

    KEYS: ClassVar[Keys] = {
        "name": "quantity",
        "value": "value",
        "u": "standard_uncertainty",
        "distribution": "distribution",
        "degrees_of_freedom": "degrees_of_freedom",
        "sensitivity": "sensitivity",
        "contribution": "contribution",
        "share": "share_of_variance",
        "curvature": "curvature",
        "secant": "secant",
        "unit": None,
        "staircase": None,
    }

    @property
    def simulated(self) -> bool:
        """Whether it is an effect on the reading itself, in m, and no quantity."""
        return self.distribution == SIMULATED

    def matters(self, combined: float) -> bool:
        """Whether it has any influence beyond the rounding of floating-point numbers."""
        return math.isnan(self.contribution) or abs(self.contribution) > NEGLIGIBLE * combined


def sized(rows: Sequence[BudgetRow], sizes: Mapping[str, Quantity]) -> list[BudgetRow]:
    """The rows with noises of known size in their own unit, equal ones of several gates as one.

    A noise is drawn with a standard deviation of 1; its gates are independent: variances add.
    """
    others: list[BudgetRow] = []
    groups: dict[tuple[str, float], list[BudgetRow]] = {}
    for row in rows:
        size = sizes.get(row.name)
        if size is None or not size.nominal or row.distribution != "normal":
            others.append(row)
        else:
            groups.setdefault((row.name.partition("@")[0], size.nominal), []).append(row)
    for (name, std), group in groups.items():
        alone = sum(key[0] == name for key in groups) == 1
        contribution = math.hypot(*(row.contribution for row in group))
        others.append(
            replace(
                group[0],
                name=name if alone else ", ".join(row.name for row in group),
                u=std,
                sensitivity=contribution / std,
                contribution=contribution,
                curvature=sum(row.curvature for row in group),
                secant=any(row.secant for row in group),
                unit=sizes[group[0].name].unit,
            )
        )
    return others
