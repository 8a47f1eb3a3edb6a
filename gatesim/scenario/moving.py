"""Tables of the part and its path."""

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
