"""Air drag."""

from dataclasses import dataclass
from typing import ClassVar

from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.quantity import accepts
from gatesim.motion.path import Body, Path


@dataclass(frozen=True)
@accepts(drag_coefficient="", frontal_area="m^2", density="kg/m^3")
class AirDrag:
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

    def added_mass(self, x: Array) -> Scalar:
        """Nothing moves along."""
        return 0.0
