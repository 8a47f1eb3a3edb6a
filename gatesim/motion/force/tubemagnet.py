"""A brake of a conducting tube, through which the part travels as a magnet."""

from collections.abc import Mapping
from typing import ClassVar, Literal

from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.level import Level
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Misfit, TableValues
from gatesim.motion.force.base import CrossSection
from gatesim.motion.force.magnet import CLOSEST, MEASURE, STEP, MagnetTable
from gatesim.motion.force.magnetbrake import MagnetBrake
from gatesim.motion.magnets.shapes import Tube
from gatesim.motion.magnets.strength import with_spread
from gatesim.motion.path import Body

RADII = ("radius", "tube_inner_radius", "tube_outer_radius")


class TubeMagnet(MagnetTable):
    """The part is a cylindrical magnet, or carries one in its middle, and travels along a conducting tube.

    The tube is the brake's zone: brake.start and brake.length.
    """

    drawing: ClassVar[str] = """
cut through the axis; radii are from the axis:

  brake.start              brake.length
    |<-------------------------------------------->|
    ################################################   - tube_outer_radius
    ################################################   - tube_inner_radius
                  +-----------+                        - radius
  - - - - - - - - | N       S | - - - - - - - - - - -  axis, the path
                  +-----------+
    ################################################
    ################################################
                  |<- height ->|
"""
    per_key: ClassVar[Mapping[str, Level]] = {"remanence": "part", "radius": "part", "height": "part"}
    acts_on_part: ClassVar[bool] = False

    geometry: Literal["cylinder-in-tube"]
    radius: keys.MagnetSize = Field(
        examples=["7 mm"], description="Radius of the magnet, which is magnetised along the axis."
    )
    height: keys.MagnetSize = Field(examples=["10 mm"], description="Height of the magnet along the axis.")
    tube_inner_radius: keys.MagnetSize = Field(examples=["9 mm"], description="Inner radius of the tube.")
    tube_outer_radius: keys.MagnetSize = Field(examples=["11 mm"], description="Outer radius of the tube.")
    conductivity: keys.Conductivity = Field(description="Conductivity of the tube, at its temperature.")

    def extent(self, length: Quantity | None) -> float:
        """See `MagnetTable.extent`."""
        return 0.0 if length is None else length.nominal

    def check(self, length: Quantity | None) -> None:
        """See `MagnetTable.check`."""
        if length is None:
            raise Misfit("brake.length", "nothing", 'the length of the tube such as "1000 mm"')
        radii = [getattr(self, key) for key in RADII]
        if not radii[0].nominal < radii[1].nominal < radii[2].nominal:
            given = ", ".join(radius.text for radius in radii)
            expected = "magnet, inner and outer tube radius in rising order"
            raise Misfit("brake.magnet.radius", given, expected)
        edge = max(self.radius.nominal, self.height.nominal)
        if self.tube_inner_radius.nominal - self.radius.nominal < edge / CLOSEST:
            least = f"{1e3 * edge / CLOSEST:.3g} mm"
            expected = f"a clearance of at least {least} around the magnet, to which the model goes"
            raise Misfit("brake.magnet.tube_inner_radius", self.tube_inner_radius.text, expected)

    def check_part(self, part: CrossSection) -> None:
        """See `MagnetTable.check_part`."""

    def build(self, values: TableValues, part: Body, linear: bool) -> MagnetBrake:
        """See `MagnetTable.build`."""
        # deferred: costs start-up time, and few brakes are stated by their magnets
        from gatesim.motion.magnets.brake import tube_curve, tube_profile, tube_strength

        own = values.inner("magnet")
        nominal = {key: getattr(self, key).nominal for key in (*RADII, "height")}
        tube = _tube(nominal)
        room = min(tube.inner - tube.radius, tube.outer - tube.inner) / 3
        steps = {key: room if key in RADII else STEP * value for key, value in nominal.items()}
        strength = with_spread(lambda at: tube_strength(_tube(at)), nominal, steps, own.all(*nominal))
        extent = values.quantities["brake.length"].nominal
        return MagnetBrake.scaled(
            (values["start"], values["length"]),
            strength,
            tube_strength(tube),
            (self.factor(own), own["conductivity"]),
            curve=tube_curve(tube, self.fastest(values, extent) * self.conductivity.nominal),
            profile=tube_profile(tube, extent, values.quantities["part.length"].nominal),
            linear=linear,
            uncertainty=self.model_factor.std,
        )

    def limits(self) -> tuple[str, ...]:
        """See `ForceTable.limits`."""
        told = (
            "The magnet's force is computed for an evenly magnetised cylinder on the axis of a tube with no "
            "iron near it, the magnet in the middle of the part's length."
        )
        return (told, MEASURE)


def _tube(at: Mapping[str, float]) -> Tube:
    return Tube(at["radius"], at["height"], at["tube_inner_radius"], at["tube_outer_radius"])
