"""What all magnets of a brake have in common, as a user describes them.

Strong magnets pinch fingers, and harm implants and data carriers: observe the maker's instructions and
local rules.
"""

import math
from abc import abstractmethod
from collections.abc import Mapping
from typing import ClassVar

from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.arrays import Scalar
from gatesim.ground.distribution import Normal
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Table, TableValues
from gatesim.motion.force.base import CrossSection
from gatesim.motion.force.magnetbrake import MagnetBrake
from gatesim.motion.magnets.strength import UNCERTAINTY
from gatesim.motion.path import STANDARD_GRAVITY, Body

FAST = 10.0
"""Speed in m/s that a part may have if something else than its weight drives it."""

STEP = 0.05
"""Least step, relative, by which a dimension is changed to see what it does: meshes change with it."""

CLOSEST = 100
"""Edge of a magnet over the narrowest gap that is computed: fields across narrower ones take too long."""

MEASURE = (
    "Where it matters, measure: time the part over two gates far down a long row of these magnets, where "
    "it gains no more speed, and state that as brake.terminal_speed."
)


class MagnetTable(Table):
    """Magnets from which a brake is computed."""

    synonyms: ClassVar[Mapping[str, str]] = {
        "br": "remanence",
        "b_r": "remanence",
        "remanent_flux_density": "remanence",
        "type": "geometry",
        "shape": "geometry",
        "number": "count",
        "thickness": "height",
        "air_gap": "gap",
        "distance": "gap",
        "spacing": "pitch",
    }

    geometry: str
    remanence: keys.FluxDensity = Field(description="Remanence of the magnets, at their temperature.")
    model_factor: keys.Above0 = Field(
        default=Quantity(1.0, "", "1", Normal(UNCERTAINTY)),
        description="Factor on the computed force; its spread is the uncertainty of the model. Left out: 1 "
        "with a standard uncertainty of 4 %. A measured terminal speed tells it better.",
    )

    acts_on_part: ClassVar[bool]
    """Whether the part is the conductor, and not the magnet."""

    @abstractmethod
    def extent(self, length: Quantity | None) -> float:
        """Nominal length in m of what the part passes; ``length`` as the brake states it."""

    @abstractmethod
    def check(self, length: Quantity | None) -> None:
        """Raise Misfit where its keys, or the brake's ``length``, do not fit together."""

    @abstractmethod
    def check_part(self, part: CrossSection) -> None:
        """Raise Misfit where the part's cross-section does not go with it."""

    @abstractmethod
    def build(self, values: TableValues, part: Body, linear: bool) -> MagnetBrake:
        """The brake, from the values of its table."""

    @abstractmethod
    def limits(self) -> tuple[str, ...]:
        """See `ForceTable.limits`."""

    def fastest(self, values: TableValues, extent: float) -> float:
        """Speed in m/s up to which the drag curve is to hold; a round number.

        Twice that of a free fall to beyond the brake, or twice FAST if that is more.
        """
        stated = values.quantities
        way = stated["brake.start"].nominal + extent + stated["part.length"].nominal
        speed = 2 * max(math.sqrt(2 * STANDARD_GRAVITY * way), FAST)
        return float(10 ** (math.ceil(10 * math.log10(speed)) / 10))

    def factor(self, own: TableValues) -> Scalar:
        """What the force goes with beside geometry and conductivity, in T^2."""
        return own["remanence"] ** 2 * own["model_factor"]
