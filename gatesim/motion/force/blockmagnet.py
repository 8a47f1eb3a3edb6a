"""A brake of block magnets beside the path, in whose field the part is the conductor."""

import math
from collections.abc import Mapping
from typing import ClassVar, Literal

from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.arrays import Scalar
from gatesim.ground.level import Level
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Misfit, TableValues
from gatesim.motion.force.base import CrossSection
from gatesim.motion.force.magnet import CLOSEST, MEASURE, STEP, MagnetTable
from gatesim.motion.force.magnetbrake import MagnetBrake
from gatesim.motion.magnets.shapes import Bar, Blocks
from gatesim.motion.magnets.strength import with_spread
from gatesim.motion.path import Body

MATCH = 0.01
"""Relative difference at which two statements of one length still agree."""

THINNEST = 10_000
"""The magnet's edge over the smallest size of a part: a foil of 2 um under 20 mm."""

WIDE = (
    "part.width is not stated, so that the part counts as much wider than the magnets: a narrow one is "
    "braked less, often by half and more."
)

IRON = (
    "The magnets' force is computed for evenly magnetised blocks in free air, with the part centred under "
    "them. Iron behind them (a yoke, a steel track) is outside the model: it raises the force and can halve "
    "the critical speed."
)

# lift over drag is v/w of a thin sheet: Saslow, Am. J. Phys. 60 (1992) 693, from memory
LIFT = (
    "Magnets on one side also push the part off, with about v/v_c of the drag; what that takes from or adds "
    "to its friction is not computed."
)


class BlockMagnet(MagnetTable):
    """A row of block magnets along the path: the brake acts on the part, a conductor of its cross-section.

    The part lies in the middle of them; without a ``part.width`` it is taken as much wider than they are.
    """

    drawing: ClassVar[str] = """
along the path, from the side:

     brake.start
          |<--- pitch --->|
          |<length>|      |
          +--------+      +--------+   -
          |   N    |      |   S    |   height     count = 2, poles = "alternating"
          +--------+      +--------+   -
                                       gap
  ======================================          the part, thick as part.height
                                       gap
          +--------+      +--------+   -
          |   N    |      |   S    |   height     this row only with sides = "both"
          +--------+      +--------+   -

across the path, seen along it:

             |<- width ->|
             +-----------+
             |     N     |
             +-----------+
          =================
          |<- part.width ->|
"""
    per_key: ClassVar[Mapping[str, Level]] = {"sheet_thickness": "part", "conductivity": "part"}
    acts_on_part: ClassVar[bool] = True

    geometry: Literal["block-over-sheet"]
    length: keys.MagnetSize = Field(examples=["20 mm"], description="Length of a magnet along the path.")
    width: keys.MagnetSize = Field(examples=["20 mm"], description="Width of a magnet across the path.")
    height: keys.MagnetSize = Field(
        examples=["10 mm"], description="Height of a magnet, along which it is magnetised."
    )
    gap: keys.MagnetSize = Field(
        examples=["4 mm"], description="Distance from the magnets' faces to the surface of the part."
    )
    count: int | None = Field(
        default=None,
        ge=1,
        le=200,
        description="Magnets in the row; left out: 1, or brake.length full of them.",
    )
    pitch: keys.MagnetSize | None = Field(
        default=None,
        examples=["25 mm"],
        description="Distance from one magnet to the next; left out: they touch.",
    )
    poles: Literal["alternating", "same"] = Field(
        default="alternating", description="Whether each magnet's pole differs from the one before it."
    )
    sides: Literal["one", "both"] = Field(
        default="one", description="One row, or a second one opposite with unlike poles facing."
    )
    sheet_thickness: keys.MagnetSize | None = Field(
        default=None,
        examples=["3 mm"],
        description="Height of the part away from the magnets; left out: part.height.",
    )
    conductivity: keys.Conductivity | None = Field(
        default=None, description="Conductivity of the part; left out: part.conductivity."
    )

    def extent(self, length: Quantity | None) -> float:
        """See `MagnetTable.extent`."""
        return (self._number(length) - 1) * self._step + self.length.nominal

    @property
    def _step(self) -> float:
        return self.length.nominal if self.pitch is None else self.pitch.nominal

    def _number(self, length: Quantity | None) -> int:
        if self.count is not None or length is None:
            return self.count or 1
        return max(1, round((length.nominal - self.length.nominal) / self._step) + 1)

    def check(self, length: Quantity | None) -> None:
        """See `MagnetTable.check`."""
        if self.pitch is not None and self._step < (1 - MATCH) * self.length.nominal:
            expected = f"at least the length of a magnet, {self.length.text}"
            raise Misfit("brake.magnet.pitch", self.pitch.text, expected)
        edge = max(self.length, self.width, key=lambda size: size.nominal)
        if self.gap.nominal < edge.nominal / CLOSEST:
            expected = f"at least a {CLOSEST}th of the magnet's edge, {edge.text}, to which the model goes"
            raise Misfit("brake.magnet.gap", self.gap.text, expected)
        whole, number = self.extent(length), self._number(length)
        if length is not None and abs(length.nominal - whole) > MATCH * whole:
            row = "one magnet" if number == 1 else f"{number} magnets"
            expected = (
                f"{1e3 * whole:.6g} mm, the length of {row}; state brake.magnet.count and pitch, and leave "
                "out brake.length"
            )
            raise Misfit("brake.length", length.text, expected)

    def check_part(self, part: CrossSection) -> None:
        """See `MagnetTable.check_part`."""
        if self.conductivity is not None and part.conductivity is not None:
            given = self.conductivity.text
            raise Misfit("brake.magnet.conductivity", given, "nothing beside that of the part")
        self._check_sizes(part)
        if self.conductivity is None and part.conductivity is None:
            expected = 'that of the braked part such as "30 MS/m", or a part.material'
            raise Misfit("part.conductivity", "nothing", expected)
        height = part.height if self.sheet_thickness is None else self.sheet_thickness
        if height is None:
            raise Misfit("part.height", "nothing", 'that of the braked part such as "3 mm"')
        if part.section == "round":
            if part.width is not None and abs(part.width.nominal / height.nominal - 1) > MATCH:
                raise Misfit("part.width", part.width.text, f"the diameter of a round part, {height.text}")
        elif part.width is None and part.wall is not None:
            raise Misfit("part.width", "nothing", 'the width of the hollow part such as "25 mm"')
        across = height.nominal if part.width is None else min(height.nominal, part.width.nominal)
        if part.wall is not None and 2 * part.wall.nominal > across:
            expected = f"at most half of {1e3 * across:.6g} mm; leave it out for a solid part"
            raise Misfit("part.wall", part.wall.text, expected)

    def _check_sizes(self, part: CrossSection) -> None:
        """That the section of the part is within the sizes that the model goes to."""
        edge = max(self.length, self.width, key=lambda size: size.nominal)
        sizes = {f"part.{key}": getattr(part, key) for key in ("height", "width", "wall")}
        for key, size in {**sizes, "brake.magnet.sheet_thickness": self.sheet_thickness}.items():
            if size is not None and not 1 / THINNEST <= size.nominal / edge.nominal <= CLOSEST:
                expected = (
                    f"from a {THINNEST:,}th of the magnet's edge, {edge.text}, to {CLOSEST} times that, the "
                    f"range of the model{' (a wider part has no width)' if key == 'part.width' else ''}"
                )
                raise Misfit(key, size.text, expected)

    def build(self, values: TableValues, part: Body, linear: bool) -> MagnetBrake:
        """See `MagnetTable.build`."""
        # deferred: costs start-up time, and few brakes are stated by their magnets
        from gatesim.motion.magnets.brake import block_curve, block_profile, block_strength

        own, length = values.inner("magnet"), values.quantities.get("brake.length")
        number, stated = self._number(length), self._dimensions(values)

        def shapes(at: Mapping[str, float]) -> tuple[Blocks, Bar]:
            return self._blocks(at, number), _bar(at, part.round)

        nominal = {key: quantity.nominal for key, (quantity, _) in stated.items()}
        steps = {
            key: min(max(STEP * quantity.nominal, 2 * quantity.std), quantity.nominal / 3)
            for key, (quantity, _) in stated.items()
        }
        now = {key: value for key, (_, value) in stated.items()}
        strength = with_spread(lambda at: block_strength(*shapes(at)), nominal, steps, now)
        blocks, bar = shapes(nominal)
        name = "part.conductivity" if self.conductivity is None else f"{own.name}.conductivity"
        extent = self.extent(length)
        up_to = self.fastest(values, extent) * values.quantities[name].nominal
        return MagnetBrake.scaled(
            (values["start"], extent),
            strength,
            block_strength(blocks, bar),
            (self.factor(own), values.values[name]),
            curve=block_curve(blocks, bar, up_to),
            profile=block_profile(blocks, bar, values.quantities["part.length"].nominal),
            linear=linear,
            uncertainty=self.model_factor.std,
            remark="" if part.round or "part.width" in nominal else WIDE,
        )

    def _dimensions(self, values: TableValues) -> dict[str, tuple[Quantity, Scalar]]:
        """Each dimension as stated, and its values."""
        own = values.inner("magnet")
        names = {key: f"{own.name}.{key}" for key in ("length", "width", "height", "gap", "pitch")}
        names |= {f"part.{key}": f"part.{key}" for key in ("width", "height", "wall")}
        if self.sheet_thickness is not None:
            names["part.height"] = f"{own.name}.sheet_thickness"
        stated = values.quantities
        return {key: (stated[name], values.values[name]) for key, name in names.items() if name in stated}

    def _blocks(self, at: Mapping[str, float], number: int) -> Blocks:
        return Blocks(
            at["length"],
            at["width"],
            at["height"],
            at["gap"],
            count=number,
            pitch=at.get("pitch", at["length"]) if number > 1 else 0.0,
            alternating=self.poles == "alternating",
            both_sides=self.sides == "both",
        )

    def limits(self) -> tuple[str, ...]:
        """See `ForceTable.limits`."""
        return (IRON, *((LIFT,) if self.sides == "one" else ()), MEASURE)


def _bar(at: Mapping[str, float], round_bar: bool) -> Bar:
    height = at["part.height"]
    width = height if round_bar else at.get("part.width", math.inf)
    return Bar(width, height, at.get("part.wall", math.inf), round_bar)
