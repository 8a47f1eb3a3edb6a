"""A conveyor belt."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.arrays import Array, Flags, Scalar, plain, take
from gatesim.ground.caution import Caution
from gatesim.ground.level import Level
from gatesim.ground.quantity import Quantity, accepts, stated
from gatesim.ground.table import TableValues
from gatesim.ground.text import mm
from gatesim.motion.belt import kepler
from gatesim.motion.force.base import Drawn, ForceTable
from gatesim.motion.path import Body, Path
from gatesim.motion.roots import solve

CLOSE = 1e-8
"""Last step of a search in time, relative; what is left goes with its cube: 1e-13 after 10 s at 1 kHz."""


@dataclass(frozen=True)
@accepts(
    speed="m/s",
    friction="",
    start="m",
    start_speed="m/s",
    ramp="s",
    ripple="",
    ripple_frequency="Hz",
    ripple_phase="rad",
)
class Belt:
    """A belt that takes the part over from where its leading end reaches ``start`` (m), 0: from release on.

    It bears, and pulls by, what of the part lies on it: all of a part that is put on it (start 0), else
    ever more from the leading end on, while the path bears the rest.

    speed: m/s after run-up. friction: Coulomb coefficient between part and belt; from ``start``
    on it replaces the path's. start_speed: speed at release (time 0), from which the belt
    reaches ``speed`` evenly within ``ramp`` (s). ripple: amplitude of a sinusoidal speed
    variation relative to the speed, below 1, with ripple_frequency (Hz) and ripple_phase (rad).

    V(t) = [V_0 + (V - V_0) min(t/ramp, 1)] [1 + r sin(2 pi f t + phase)]. The belt pulls with
    friction * normal force until the speeds match, and carries the part from then on for as long as
    friction suffices; where it does not, the part slips on, or slips and sticks in turn. One coefficient
    serves at rest and in motion. For parts that slide, not for ones that roll.
    """

    speed: Scalar
    friction: Scalar
    start: Scalar = 0.0
    start_speed: Scalar = 0.0
    ramp: Scalar = 0.0
    ripple: Scalar = 0.0
    ripple_frequency: Scalar = 0.0
    ripple_phase: Scalar = 0.0

    def kinks(self, part: Body) -> tuple[Scalar, ...]:
        """Travel at which the part begins to lie on the belt, and from which all of it does."""
        if not np.any(np.asarray(self.start) > 0):
            return ()
        return self.start, plain(np.where(np.asarray(self.start) > 0, self.start + part.length, self.start))

    def lying(self, part: Body) -> Callable[[Array], Array]:
        """Share of the part that lies on the belt, as a function of travel (n,)."""

        def share(x: Array) -> Array:
            if not np.any(np.asarray(self.start) > 0):
                return np.ones(x.shape)
            ramp = np.clip((x - self.start) / part.length, 0.0, 1.0)
            return np.asarray(np.where(np.asarray(self.start) > 0, ramp, 1.0))

        return share

    def velocity(self, t: Array) -> Array:
        """Belt speed in m/s at times t (s) since release; shape of t, (n,) last."""
        v: Array = self._even(t) * (1 + self.ripple * np.sin(self.angular * t + self.ripple_phase))
        return v

    def travel(self, t: Array) -> Array:
        """Travel of the belt in m since release, in closed form; shape of t, (n,) last."""
        early = np.minimum(t, self.ramp)
        late = t - early
        even = (self.start_speed + self.rate * early / 2) * early + self.speed * late
        if np.all(self.ripple == 0):
            return even
        # integral of (V0 + k t) sin(w t + p) by parts; w = 0 leaves sin(p) and is kept apart
        w = np.where(self.angular == 0, 1.0, self.angular)
        p, zero = self.ripple_phase, np.zeros(np.shape(t)[-1:])
        swing = (self._even(zero) * np.cos(p + zero) - self._even(t) * np.cos(w * t + p)) / w
        if np.any(self.rate != 0):
            swing = swing + self.rate * (np.sin(w * early + p) - np.sin(p + zero)) / w**2
        return even + self.ripple * np.where(self.angular == 0, even * np.sin(p), swing)

    def arrival(self, travel: Array, after: Array) -> tuple[Array, Array]:
        """Times (k, n) at which ``travel`` (k, n) is reached, none before ``after`` (n,), and speeds then."""
        rows = np.flatnonzero(self._little() & (after >= self.ramp))
        if rows.size < after.size:
            time = self._searched(travel, after)
            speed = self.velocity(time)
            if rows.size:
                time[:, rows], speed[:, rows] = take(self, rows).arrival(travel[:, rows], after[rows])
            return time, speed
        way = travel - self.travel(after)
        return kepler.arrival(self.speed, self.ripple, self.angular, self.ripple_phase, way, after)

    def _little(self) -> Flags:
        """Whether the ripple is so little that its phase needs no search."""
        little: Flags = (np.abs(self.ripple) <= kepler.SMALL) & (np.asarray(self.angular) != 0)
        return little

    def _searched(self, travel: Array, after: Array) -> Array:
        """Times of `arrival` within a bracket; travel grows with time as ripple < 1."""
        low = np.broadcast_to(after, travel.shape)
        missing = travel - self.travel(low)
        # run-up at worst adds its whole duration, ripple at worst its whole amplitude
        slowest = self.speed * (1 - np.abs(self.ripple))
        high = np.maximum(low, self.ramp) + np.maximum(missing, 0.0) / slowest

        def ahead(t: Array) -> tuple[Array, Array, Array]:
            return self.travel(t) - travel, self.velocity(t), self.acceleration(t)

        return solve(ahead, np.clip(low + missing / self.speed, low, high), (low, high), CLOSE)[0]

    def acceleration(self, t: Array) -> Array:
        """Acceleration of the belt in m/s^2 at times t (s); shape of t, (n,) last."""
        angle = self.angular * t + self.ripple_phase
        ramping = np.where(t < self.ramp, self.rate, 0.0) * (1 + self.ripple * np.sin(angle))
        return ramping + self._even(t) * self.ripple * self.angular * np.cos(angle)

    def band(self, after: Array) -> tuple[Array, Array]:
        """Bounds (n,) of the belt's speed at times past ``after`` (n,), in m/s."""
        now, swing = self._even(after), np.abs(self.ripple)
        return np.minimum(now, self.speed) * (1 - swing), np.maximum(now, self.speed) * (1 + swing)

    def steepest(self, after: Array) -> tuple[Array, Array]:
        """Bounds (n,) of the belt's acceleration at times past ``after`` (n,), in m/s^2."""
        swing = np.abs(self.ripple * self.angular) * np.maximum(self.speed, self.start_speed)
        ramping = np.where(after < self.ramp, self.rate, 0.0) * (1 + np.abs(self.ripple))
        return np.minimum(ramping, 0.0) - swing, np.maximum(ramping, 0.0) + swing

    def slipping_words(self, caught: float, grip: float, first: float) -> str:
        """Sentences on the first trial, which slips on the belt while it is measured.

        caught: where the belt has it, m (NaN: nowhere); grip: friction needed over what there is;
        first: the first gate, m.
        """
        if grip > 1.0:
            return (
                f"Carrying the part would take {grip:.3g} times the friction there is, so that it slips on "
                "the belt, all the way or again and again, while it is measured: the reading follows neither "
                "the belt nor a steady speed. Raise the friction, or take away what tears the part off: "
                "slope, brake, run-up or ripple."
            )
        where = "nowhere before the last gate" if np.isnan(caught) else f"only after {mm(caught)}"
        return (
            f"The belt catches the part {where}, but gate 1 stands at {mm(first)}: it is still gaining speed "
            "while it is measured. Move the gates down the belt, or raise the friction."
        )

    @property
    def angular(self) -> Scalar:
        """Angular frequency of the ripple in rad/s."""
        return 2 * np.pi * self.ripple_frequency

    @property
    def rate(self) -> Scalar:
        """Acceleration during run-up in m/s^2."""
        ramp = np.asarray(self.ramp)
        ramps = ramp > 0
        return np.where(ramps, (self.speed - self.start_speed) / np.where(ramps, ramp, 1.0), 0.0)

    def _even(self, t: Array) -> Array:
        """Belt speed without ripple."""
        return np.where(t >= self.ramp, self.speed, self.start_speed + self.rate * np.minimum(t, self.ramp))


class BeltTable(ForceTable):
    """A belt under the part: traction by friction until it is caught, then carried."""

    called: ClassVar[tuple[str, ...]] = ("conveyor", "band", "conveyor_belt")
    synonyms: ClassVar[Mapping[str, str]] = {
        "velocity": "speed",
        "acceleration_time": "ramp_time",
        "mu": "friction",
        "position": "start",
    }
    per_key: ClassVar[Mapping[str, Level]] = {"friction": "part", "ripple_phase": "passage"}
    key: ClassVar[str] = "belt"
    needs_mass: ClassVar[bool] = False
    drives: ClassVar[bool] = True
    carries: ClassVar[bool] = True
    takes_rolling: ClassVar[bool] = False

    speed: keys.Speed = Field(description="Mean belt speed.")
    friction: keys.Above0 = Field(description="Coefficient of friction between belt and part.")
    start: keys.Distance = Field(
        default=stated("0 mm", "m"),
        description="Travel of the leading end at which the belt begins; 0: the part is put on it.",
    )
    ramp_time: keys.Time = Field(
        default=stated("0 s", "s"), description="Time in which the belt reaches its speed from rest."
    )
    ripple: keys.Share = Field(
        default=stated("0 %"),
        description="Amplitude of the sinusoidal speed ripple over the speed.",
    )
    ripple_frequency: keys.Frequency = Field(
        default=stated("1 Hz", "Hz"), description="Frequency of the speed ripple."
    )
    ripple_phase: keys.Phase = Field(
        default=stated("0 deg", "rad"), description="Phase of the speed ripple at release."
    )

    def check(self) -> None:
        """Any values fit together."""

    def build(self, values: TableValues, part: Body, path: Path) -> Belt:
        """See `ForceTable.build`."""
        same = ("speed", "friction", "start", "ripple", "ripple_frequency", "ripple_phase")
        start_speed = np.where(np.asarray(values["ramp_time"]) > 0.0, 0.0, values["speed"])
        return Belt(**values.all(*same), ramp=values["ramp_time"], start_speed=plain(start_speed))

    def random_phases(self) -> tuple[str, ...]:
        """The ripple's phase at release."""
        return ("ripple_phase",)

    def at_mean_phase(self) -> "BeltTable":
        """Without ripple: at one phase it bends counts in a way that is none of the mean over all phases."""
        return self.model_copy(update={"ripple": Quantity(0.0)})

    def later(self, values: TableValues, release: Array) -> Mapping[str, Scalar]:
        """The ripple as the part released later meets it."""
        if not self.ripple.nominal > 0.0:
            return {}
        turned = 2.0 * np.pi * values["ripple_frequency"] * release
        return {"ripple_phase": values["ripple_phase"] + turned}

    def caution(self) -> Caution:
        """It draws in."""
        return Caution(
            "Moving belt",
            "belts draw in hands and clothing where they run on pulleys (EN 619): guard the nip points, "
            "stop and lock the drive before reaching in.",
        )

    def drawn(self) -> Drawn:
        """The belt from its start on."""
        return Drawn("belt", self.start.nominal, None, "the double line the belt", "start")
