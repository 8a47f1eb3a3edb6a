"""Air drag."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.caution import Caution
from gatesim.ground.level import Level
from gatesim.ground.quantity import accepts, stated
from gatesim.ground.table import TableValues
from gatesim.motion.closedform.quadraticdrag import quadratic_drag
from gatesim.motion.force.base import Crest, Drawn, Force, ForceTable
from gatesim.motion.path import Body, Path


@dataclass(frozen=True)
@accepts(drag_coefficient="", frontal_area="m^2", density="kg/m^3")
class AirDrag(Force):
    """Quadratic drag of air at rest: F = -1/2 rho c_d A v^2.

    drag_coefficient: c_d, from a handbook for the shape. frontal_area: A in m^2.
    density: rho in kg/m^3 (default: 1.204, dry air at 20 degC and 101.325 kPa).
    """

    drag_coefficient: Scalar
    frontal_area: Scalar
    density: Scalar = 1.204

    steady: ClassVar[bool] = False

    def kinks(self, part: Body) -> tuple[Scalar, ...]:
        """Nowhere."""
        return ()

    def strength(self, x: Array, part: Body, path: Path) -> Scalar:
        """-rho c_d A/2 in kg/m, everywhere."""
        return -0.5 * self.density * self.drag_coefficient * self.frontal_area

    def law(self, v: Array) -> Array:
        """v^2."""
        return v * v

    def slope(self, v: Array) -> Array:
        """2 v."""
        return 2 * v

    def alone(self, drive: Array, strength: Array, size: Array, v: Array) -> tuple[Array, Array]:
        """Quadratic drag."""
        return quadratic_drag(drive, strength, size, v)

    def added_mass(self, x: Array) -> Scalar:
        """Nothing moves along."""
        return 0.0

    def crest(self, part: Body) -> Crest | None:
        """None: nobody runs away from it."""
        return None

    def runaway_words(self, part: Body, path: Path, ratio: float, gain: float) -> str:
        """Nothing to tell."""
        return ""


class AirTable(ForceTable):
    """Air drag, quadratic in speed."""

    called: ClassVar[tuple[str, ...]] = ("drag", "air_drag")
    synonyms: ClassVar[Mapping[str, str]] = {
        "cd": "drag_coefficient",
        "c_d": "drag_coefficient",
        "cw": "drag_coefficient",
        "area": "frontal_area",
        "rho": "density",
    }
    per: ClassVar[Level] = "part"
    per_key: ClassVar[Mapping[str, Level]] = {"density": "rig"}
    key: ClassVar[str] = "air"
    needs_mass: ClassVar[bool] = True
    drives: ClassVar[bool] = False
    carries: ClassVar[bool] = False
    takes_rolling: ClassVar[bool] = True

    drag_coefficient: keys.Above0 = Field(description="Drag coefficient C_d.")
    frontal_area: keys.Area = Field(description="Area across the motion.")
    density: keys.Density = Field(default=stated("1.2 kg/m^3", "kg/m^3"), description="Density of the air.")

    def check(self) -> None:
        """Any values fit together."""

    def build(self, values: TableValues, part: Body, path: Path) -> AirDrag:
        """See `ForceTable.build`."""
        return AirDrag(**values.all("drag_coefficient", "frontal_area", "density"))

    def caution(self) -> Caution | None:
        """It hurts nobody."""
        return None

    def drawn(self) -> Drawn | None:
        """Nothing to see."""
        return None
