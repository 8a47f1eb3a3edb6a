"""What a user may write of an eddy-current brake."""

import math
from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal

import numpy as np
from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.caution import Caution
from gatesim.ground.family import Family
from gatesim.ground.material import MAGNETIC
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import Misfit, TableValues
from gatesim.ground.text import as_mm
from gatesim.motion.force.base import CrossSection, Drawn, ForceTable, Situation
from gatesim.motion.force.blockmagnet import BlockMagnet
from gatesim.motion.force.eddybrake import EddyBrake
from gatesim.motion.force.magnet import MagnetTable
from gatesim.motion.force.tubemagnet import TubeMagnet
from gatesim.motion.path import Body, Path

SETTLING = 5.0  # lengths v^2/a over which a braked part nears its steady speed
STRONGER = 1.5

MAGNETS = Family[MagnetTable]("geometry", (BlockMagnet, TubeMagnet))


class BrakeTable(ForceTable):
    """An eddy-current brake over a zone of the path.

    Its strength is given in exactly one way: peak_force, drag_coefficient,
    terminal_speed or magnet.
    """

    called: ClassVar[tuple[str, ...]] = ("magnet", "magnets", "eddy_brake", "eddy_current_brake")
    synonyms: ClassVar[Mapping[str, str]] = {
        "peak_speed": "critical_speed",
        "force": "peak_force",
        "max_force": "peak_force",
        "steady_speed": "terminal_speed",
        "end_speed": "terminal_speed",
        "magnets": "magnet",
        "position": "start",
    }

    key: ClassVar[str] = "brake"
    needs_mass: ClassVar[bool] = True
    drives: ClassVar[bool] = False
    carries: ClassVar[bool] = False
    takes_rolling: ClassVar[bool] = True

    start: keys.Distance = Field(description="Distance from the leading end at release to the magnet zone.")
    length: keys.Length | None = Field(
        default=None, description="Length of the magnet zone, or of the tube; a row of magnets has its own."
    )
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
    magnet: Annotated[MagnetTable, MAGNETS] | None = Field(
        default=None, description="Magnets to compute the brake from."
    )

    def check(self) -> None:
        """See `ForceTable.check`."""
        ways = ("peak_force", "drag_coefficient", "terminal_speed", "magnet")
        given = [way for way in ways if getattr(self, way) is not None]
        if len(given) != 1:
            said = " and ".join(given) or "no strength"
            raise Misfit("brake", said, f"exactly one of {', '.join(ways)}")
        needs_speed = self.magnet is None and (self.law == "full" or given == ["peak_force"])
        if needs_speed and self.critical_speed is None:
            raise Misfit("brake.critical_speed", "nothing", f'a speed such as "2.5 m/s" beside {given[0]}')
        if self.magnet is not None and self.critical_speed is not None:
            text = self.critical_speed.text
            raise Misfit("brake.critical_speed", text, "nothing, since the magnet gives it")
        if self.terminal_slope is not None and self.terminal_speed is None:
            text = self.terminal_slope.text
            raise Misfit("brake.terminal_slope", text, "a terminal_speed that goes with it")
        if self.magnet is not None:
            self.magnet.check(self.length)
        elif self.length is None:
            raise Misfit("brake.length", "nothing", 'the length of the magnet zone such as "300 mm"')

    def check_part(self, part: CrossSection) -> None:
        """See `ForceTable.check_part`."""
        if part.material in MAGNETIC and (self.magnet is None or self.magnet.acts_on_part):
            expected = "a material that magnets do not pull: they hold such a part and add to its friction"
            raise Misfit("part.material", f"{part.material!r} under a [brake]", expected)
        if self.magnet is not None:
            self.magnet.check_part(part)

    def build(self, values: TableValues, part: Body, path: Path) -> EddyBrake:
        """From whichever of its strengths is given. Raises Misfit for a part that friction holds."""
        linear = self.law == "linear"
        if self.magnet is not None:
            return self.magnet.build(values, part, linear)
        start, length = values["start"], values["length"]
        if self.peak_force is not None:
            return EddyBrake(start, length, values["peak_force"], values["critical_speed"], linear)
        if self.terminal_speed is not None:
            slope = values.get("terminal_slope", path.slope)
            measured_on = Path(slope, path.friction, path.gravity)
            critical = np.inf if linear else values["critical_speed"]
            speed = values["terminal_speed"]
            try:
                return EddyBrake.from_terminal_speed(start, length, speed, part, measured_on, critical)
            except ValueError as problem:
                given = f"{self.terminal_speed.text} ({problem})"
                expected = "a slope on which the part slides"
                raise Misfit("brake.terminal_speed", given, expected) from None
        # the linear law needs no critical speed: any finite scale gives the same force
        coefficient, critical = values["drag_coefficient"], values.get("critical_speed", 1.0)
        return EddyBrake.from_coefficient(start, length, coefficient, critical, linear)

    @classmethod
    def suggested(cls, situation: Situation) -> Suggestion | None:
        """Magnets from the release to beyond the gates, whose steady speed is reached well before gate 1."""
        s = situation
        if not s.without_devices or s.mass is None:
            return None
        pull = math.sin(s.slope) - s.friction * math.cos(s.slope)
        if pull <= 0.0:  # friction slows the part already
            return None
        # from rest v^2 = 2 a x: this steady speed is neared over SETTLING lengths v^2/a before gate 1
        steady, critical = s.speed / (2.0 * SETTLING) ** 0.5, 3.0 * s.speed
        # F = b v / (1 + (v/v_c)^2), the full drag curve by its slope at low speed
        force = s.mass * s.gravity * pull
        drag = force / steady * (1.0 + (steady / critical) ** 2)
        table = {
            "start": "0 mm",
            "length": as_mm(s.last + s.length),
            "drag_coefficient": f"{drag:.4g} kg/s",
            "critical_speed": f"{critical:.4g} m/s",
        }
        how = (
            f"{drag:.3g} kg/s from the release to beyond the last gate, for a steady speed of "
            f"{steady:.2f} m/s; takes a conducting part"
        )
        return Suggestion("eddy-current brake along the path", how, {cls.key: table})

    def stronger(self) -> Suggestion | None:
        """Half as strong again, whichever way its strength is given."""
        if self.magnet is not None:
            return None
        units = {"peak_force": "N", "drag_coefficient": "kg/s", "terminal_speed": "m/s"}
        key = next(k for k in units if getattr(self, k))
        value = getattr(self, key)
        new = value.nominal * (1.0 / STRONGER if key == "terminal_speed" else STRONGER)
        text = f"{new:.6g} {units[key]}"
        how = f"{key.replace('_', ' ')} {text} instead of {value.text}"
        return Suggestion("stronger brake", how, {f"{self.key}.{key}": text})

    def limits(self) -> tuple[str, ...]:
        """See `ForceTable.limits`."""
        if self.magnet is not None:
            return self.magnet.limits()
        return (
            "The brake acts in proportion to what the part covers of its zone, with one drag curve. Under a "
            "real magnet a part as long as it gets about 0.6 of that impulse, one three times as long 0.86.",
        )

    def caution(self) -> Caution:
        """Its magnets."""
        return Caution(
            "Strong magnets",
            "they pinch fingers and pull in steel, and disturb pacemakers, implants, cards and data "
            "carriers: keep people with implants away, and handle them one at a time.",
        )

    def drawn(self) -> Drawn:
        """Magnets above and below the path."""
        start = self.start.nominal
        length = 0.0 if self.length is None else self.length.nominal
        end = start + (length if self.magnet is None else self.magnet.extent(self.length))
        what = "tube" if self.magnet is not None and not self.magnet.acts_on_part else "magnets"
        stated = "" if self.length is None else "length"
        return Drawn("magnets", start, end, f"hatched bars the {what}", "start", stated)
