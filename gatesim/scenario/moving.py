"""Tables of the part and its path."""

import math
from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, model_validator

from gatesim.ground import keys
from gatesim.ground.level import Level
from gatesim.ground.material import CONDUCTIVITY, Material, conductivity
from gatesim.ground.quantity import stated
from gatesim.ground.table import Table
from gatesim.part import ENDS, OPENINGS, SQUARE, EndTable, OpeningTable, Part


class PartTable(Table):
    """The part whose length is the measurand."""

    called: ClassVar[tuple[str, ...]] = ("object", "product", "workpiece", "piece")
    synonyms: ClassVar[Mapping[str, str]] = {
        "weight": "mass",
        "diameter": "height",
        "thickness": "height",
        "depth": "width",
        "wall_thickness": "wall",
        "inclination": "tilt",
        "cross_section": "section",
        "holes": "openings",
        "notches": "openings",
        "leading_end": "front",
        "trailing_end": "rear",
    }

    per: ClassVar[Level] = "part"
    per_key: ClassVar[Mapping[str, Level]] = {"tilt": "passage"}
    length: keys.Length = Field(description="True length, the measurand.")
    mass: keys.Mass | None = Field(
        default=None,
        description="Mass; needed where air, a brake or a launch acts on the part. It is that of a part of "
        "this length: choose, and reference parts of a calibration, take it in proportion to the length, "
        "fit with its option only.",
    )
    mass_per_length: keys.LinearDensity | None = Field(
        default=None,
        description="Instead of the mass, of parts cut from one bar: the mass follows the length everywhere.",
    )
    inertia_factor: keys.Ratio = Field(
        default=stated("0"),
        description="c = I/(m r^2) of a part that rolls without sliding: 0.4 ball, 0.5 solid cylinder, "
        "1 thin tube; 0 if it slides. r is the rolling radius, from the axis to the contact: a ball in a "
        "groove of 90 deg has 0.8. Rolling takes friction of at least tan(slope) c/(1 + c).",
    )
    height: keys.Length | None = Field(
        default=None,
        examples=["20 mm"],
        description="Full height across the beam; left out: higher than any beam.",
    )
    width: keys.Length | None = Field(
        default=None,
        examples=["25 mm"],
        description="Width along the beam and the magnets' faces, at right angles to the height.",
    )
    section: Literal["rectangular", "round"] = Field(
        default="rectangular", description="Cross-section; a round part has its diameter as height."
    )
    wall: keys.Length | None = Field(
        default=None,
        examples=["2 mm"],
        description="Thickness of the wall of a hollow part; left out: solid.",
    )
    material: Material | None = Field(
        default=None, description="Gives the conductivity at 20 degC with its spread between grades."
    )
    conductivity: keys.Conductivity | None = Field(
        default=None, description="Conductivity at the part's temperature; in place of that of the material."
    )
    front: Annotated[EndTable, ENDS] = Field(default=SQUARE, description="Leading end.")
    rear: Annotated[EndTable, ENDS] = Field(default=SQUARE, description="Trailing end.")
    openings: tuple[Annotated[OpeningTable, OPENINGS], ...] = Field(
        default=(), description="Notches and holes, leading end first."
    )
    tilt: keys.Angle = Field(
        default=stated("0 deg", "rad"), description="Tilt of the part in the plane of the beam."
    )

    @model_validator(mode="before")
    @classmethod
    def _conducts(cls, given: Any) -> Any:
        if not isinstance(given, dict) or "conductivity" in given:
            return given
        material = given.get("material")
        if not isinstance(material, str) or material not in CONDUCTIVITY:
            return given
        return {**given, "conductivity": conductivity(material)}

    def outline(self) -> Part:
        """The nominal part."""
        return Part(
            length=self.length.nominal,
            height=math.inf if self.height is None else self.height.nominal,
            front=self.front.build(),
            rear=self.rear.build(),
            openings=tuple(opening.build() for opening in self.openings),
            round=self.section == "round",
            width=self.along_the_beam,
        )

    @property
    def along_the_beam(self) -> float:
        """Extent along a beam in m: 0 where it is not stated."""
        width = self.height if self.section == "round" else self.width
        return 0.0 if width is None else width.nominal

    @property
    def nominal_mass(self) -> float | None:
        """In kg; None where nothing is stated."""
        if self.mass_per_length is not None:
            return self.mass_per_length.nominal * self.length.nominal
        return None if self.mass is None else self.mass.nominal


class PathTable(Table):
    """A straight path; the part is released with its leading end at 0."""

    per_key: ClassVar[Mapping[str, Level]] = {
        "friction": "part",
        "static_friction": "part",
        "release_speed": "passage",
    }
    called: ClassVar[tuple[str, ...]] = ("track", "chute", "slide", "rail", "ramp")
    synonyms: ClassVar[Mapping[str, str]] = {
        "angle": "slope",
        "incline": "slope",
        "inclination": "slope",
        "mu": "friction",
        "friction_coefficient": "friction",
        "g": "gravity",
        "initial_speed": "release_speed",
        "start_speed": "release_speed",
        "speed": "release_speed",
    }
    slope: keys.Angle = Field(
        default=stated("0 deg", "rad"),
        description="Slope below the horizontal: 90 deg is a free fall, negative runs uphill.",
    )
    friction: keys.Ratio = Field(
        default=stated("0"),
        description="Coefficient of sliding friction; for a rolling part, of rolling resistance.",
    )
    static_friction: keys.Ratio | None = Field(
        default=None,
        description="Coefficient of friction at rest: what holds a sliding part at release, left out as much "
        "as friction; what makes a rolling part roll, left out as much as that takes.",
    )
    gravity: keys.Gravity = Field(
        default=stated("9.80665 m/s^2", "m/s^2"), description="Local acceleration of free fall."
    )
    release_speed: keys.AnySpeed = Field(default=stated("0 m/s", "m/s"), description="Speed at release.")
