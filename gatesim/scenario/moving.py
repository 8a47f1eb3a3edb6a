"""Tables of the part, its path and the forces on it."""

from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.level import Level
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Table


class SquareEnd(Table):
    """A face square to the axis."""

    shape: Literal["square"]


class ShapedEnd(Table):
    """A chamfered, conical or hemispherical end of its own length along the axis."""

    per: ClassVar[Level] = "part"
    shape: Literal["chamfer", "cone", "round"]
    length: keys.Length = Field(description="Length of the end along the axis.")
    tip_height: keys.Distance | None = Field(
        default=None, description="Full height at the very tip of a chamfer (0 for a cone or a round end)."
    )


End = Annotated[SquareEnd | ShapedEnd, Field(discriminator="shape")]


class Opening(Table):
    """A notch across the part or a hole through it, where light passes."""

    per: ClassVar[Level] = "part"
    kind: Literal["notch", "hole"]
    start: keys.Distance = Field(description="Distance of the opening behind the leading end.")
    length: keys.Length = Field(description="Length of the opening along the axis.")
    height: keys.Length | None = Field(
        default=None, description="Full height of a hole about the axis; depth of a notch from both sides."
    )


class PartTable(Table):
    """The part whose length is the measurand."""

    per: ClassVar[Level] = "part"
    per_key: ClassVar[Mapping[str, Level]] = {"tilt": "passage"}
    length: keys.Length = Field(description="True length, the measurand.")
    mass: keys.Mass | None = Field(
        default=None, description="Mass; needed where air, a brake or a launch acts on the part."
    )
    inertia_factor: keys.Ratio = Field(
        default=Quantity(0.0, "", "0"),
        description="c = I/(m r^2) of a part that rolls without sliding: 0.4 ball, 0.5 solid cylinder, "
        "1 thin tube; 0 if it slides. Rolling takes friction of at least tan(slope) c/(1 + c), which is not "
        "checked.",
    )
    height: keys.Length | None = Field(
        default=None, description="Full height across the beam; left out: higher than any beam."
    )
    front: End = Field(default=SquareEnd(shape="square"), description="Leading end.")
    rear: End = Field(default=SquareEnd(shape="square"), description="Trailing end.")
    openings: tuple[Opening, ...] = Field(default=(), description="Notches and holes, leading end first.")
    tilt: keys.Angle = Field(
        default=Quantity(0.0, "deg", "0 deg"), description="Tilt of the part in the plane of the beam."
    )


class PathTable(Table):
    """A straight path; the part is released with its leading end at 0."""

    per_key: ClassVar[Mapping[str, Level]] = {"friction": "part", "release_speed": "passage"}
    slope: keys.Angle = Field(
        default=Quantity(0.0, "deg", "0 deg"),
        description="Slope below the horizontal: 90 deg is a free fall, negative runs uphill.",
    )
    friction: keys.Ratio = Field(
        default=Quantity(0.0, "", "0"),
        description="Coefficient of sliding friction; for a rolling part, of rolling resistance.",
    )
    gravity: keys.Gravity = Field(
        default=Quantity(9.80665, "m/s^2", "9.80665 m/s^2"), description="Local acceleration of free fall."
    )
    release_speed: keys.AnySpeed = Field(
        default=Quantity(0.0, "m/s", "0 m/s"), description="Speed at release."
    )


class AirTable(Table):
    """Air drag, quadratic in speed."""

    per: ClassVar[Level] = "part"
    per_key: ClassVar[Mapping[str, Level]] = {"density": "rig"}
    drag_coefficient: keys.Above0 = Field(description="Drag coefficient C_d.")
    frontal_area: keys.Area = Field(description="Area across the motion.")
    density: keys.Density = Field(
        default=Quantity(1.2, "kg/m^3", "1.2 kg/m^3"), description="Density of the air."
    )


class SheetMagnet(Table):
    """A block magnet above a flat conductor: the brake acts on the part as a conducting sheet."""

    geometry: Literal["block-over-sheet"]
    remanence: keys.FluxDensity = Field(description="Remanence of the magnet, magnetised across the sheet.")
    length: keys.Length = Field(description="Length of the magnet along the path.")
    width: keys.Length = Field(description="Width of the magnet across the path.")
    height: keys.Length = Field(description="Height of the magnet.")
    gap: keys.Length = Field(description="Distance from the magnet's face to the surface of the sheet.")
    sheet_thickness: keys.Length = Field(description="Thickness of the conductor.")
    conductivity: keys.Conductivity = Field(description="Conductivity of the conductor.")


class TubeMagnet(Table):
    """A cylindrical magnet carried through a conducting tube along its axis."""

    geometry: Literal["cylinder-in-tube"]
    remanence: keys.FluxDensity = Field(description="Remanence of the magnet, magnetised along the axis.")
    radius: keys.Length = Field(description="Radius of the magnet.")
    height: keys.Length = Field(description="Height of the magnet along the axis.")
    tube_inner_radius: keys.Length = Field(description="Inner radius of the tube.")
    tube_outer_radius: keys.Length = Field(description="Outer radius of the tube.")
    conductivity: keys.Conductivity = Field(description="Conductivity of the tube.")


Magnet = Annotated[SheetMagnet | TubeMagnet, Field(discriminator="geometry")]


class BrakeTable(Table):
    """An eddy-current brake over a zone of the path.

    Its strength is given in exactly one way: peak_force, drag_coefficient,
    terminal_speed or magnet.
    """

    start: keys.Distance = Field(description="Distance from the leading end at release to the magnet zone.")
    length: keys.Length = Field(description="Length of the magnet zone.")
    law: Literal["full", "linear"] = Field(
        default="full", description="Full drag curve with its peak, or force proportional to speed."
    )
    peak_force: keys.Force | None = Field(
        default=None, description="Greatest force, at the critical speed, zone covered by the part."
    )
    critical_speed: keys.Speed | None = Field(default=None, description="Speed at which the force peaks.")
    drag_coefficient: keys.Drag | None = Field(
        default=None, description="Force over speed at low speed, zone covered by the part."
    )
    terminal_speed: keys.Speed | None = Field(
        default=None, description="Measured steady speed of this part inside a long zone of this brake."
    )
    terminal_slope: keys.Angle | None = Field(
        default=None, description="Slope at which the terminal speed was measured; left out: the path's."
    )
    magnet: Magnet | None = Field(default=None, description="Magnet and conductor to compute the brake from.")


class LaunchTable(Table):
    """A spring or elastic band that pushes the part from release until its natural length."""

    stiffness: keys.Stiffness = Field(description="Spring rate.")
    stretch: keys.Length = Field(description="Deflection at release; the push ends when it is used up.")
    carrier_mass: keys.NoMass = Field(
        default=Quantity(0.0, "g", "0 g"),
        description="Mass that moves with the part while it is pushed (carrier, a third of the spring).",
    )


class BeltTable(Table):
    """A belt under the part: traction by friction until it is caught, then carried."""

    per_key: ClassVar[Mapping[str, Level]] = {"friction": "part", "ripple_phase": "passage"}
    speed: keys.Speed = Field(description="Mean belt speed.")
    friction: keys.Above0 = Field(description="Coefficient of friction between belt and part.")
    start: keys.Distance = Field(
        default=Quantity(0.0, "mm", "0 mm"), description="Travel of the leading end at which the belt begins."
    )
    ramp_time: keys.Time = Field(
        default=Quantity(0.0, "s", "0 s"), description="Time in which the belt reaches its speed from rest."
    )
    ripple: keys.Share = Field(
        default=Quantity(0.0, "%", "0 %"),
        description="Amplitude of the sinusoidal speed ripple over the speed.",
    )
    ripple_frequency: keys.Frequency = Field(
        default=Quantity(1.0, "Hz", "1 Hz"), description="Frequency of the speed ripple."
    )
    ripple_phase: keys.Phase = Field(
        default=Quantity(0.0, "deg", "0 deg"), description="Phase of the speed ripple at release."
    )
