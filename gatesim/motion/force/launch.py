"""Launch by a spring or an elastic band."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.caution import Caution
from gatesim.ground.level import Level
from gatesim.ground.quantity import accepts, stated
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import TableValues
from gatesim.ground.text import as_mm
from gatesim.motion.force.base import Crest, Drawn, Force, ForceTable, Situation
from gatesim.motion.path import Body, Path

STRETCH = 0.05  # m, of the spring proposed


@dataclass(frozen=True)
@accepts(stiffness="N/m", stretch="m", carrier_mass="kg")
class Launch(Force):
    """A spring or band, loaded at release, that pushes until its natural length.

    stiffness: k in N/m. stretch: travel from release to the natural length in m.
    carrier_mass: what moves along until then (pusher, and by Rayleigh's rule a third of the
    spring's own mass), in kg; its guide is taken as frictionless, its weight acts.

    F = k (stretch - x) for x < stretch, else 0 (Hooke's law). Stored elastic energy hurts: guard it.
    """

    stiffness: Scalar
    stretch: Scalar
    carrier_mass: Scalar = 0.0

    steady: ClassVar[bool] = True

    def kinks(self, part: Body) -> tuple[Scalar, ...]:
        """The natural length."""
        return (self.stretch,)

    def strength(self, x: Array, part: Body, path: Path) -> Scalar:
        """Force of the spring and weight of the carrier in N."""
        pushing = x < self.stretch
        force = self.stiffness * (self.stretch - x) + path.weight(self.carrier_mass)
        return np.where(pushing, force, 0.0)

    def law(self, v: Array) -> Array:
        """1: the force does not depend on speed."""
        return np.ones_like(v)

    def slope(self, v: Array) -> Array:
        """0."""
        return np.zeros_like(v)

    def added_mass(self, x: Array) -> Scalar:
        """Carrier's mass until the natural length."""
        return np.where(x < self.stretch, self.carrier_mass, 0.0)

    def crest(self, part: Body) -> Crest | None:
        """None: nobody runs away from it."""
        return None

    def runaway_words(self, part: Body, path: Path, ratio: float, gain: float) -> str:
        """Nothing to tell."""
        return ""


class LaunchTable(ForceTable):
    """A spring or elastic band that pushes the part from release until its natural length."""

    called: ClassVar[tuple[str, ...]] = ("spring", "launcher", "elastic")
    synonyms: ClassVar[Mapping[str, str]] = {
        "spring_rate": "stiffness",
        "spring_constant": "stiffness",
        "rate": "stiffness",
        "travel": "stretch",
        "preload": "stretch",
        "compression": "stretch",
    }
    key: ClassVar[str] = "launch"
    per_key: ClassVar[Mapping[str, Level]] = {"stretch": "passage"}
    needs_mass: ClassVar[bool] = True
    drives: ClassVar[bool] = True
    carries: ClassVar[bool] = False
    takes_rolling: ClassVar[bool] = True

    stiffness: keys.Stiffness = Field(description="Spring rate.")
    stretch: keys.Length = Field(description="Deflection at release; the push ends when it is used up.")
    carrier_mass: keys.NoMass = Field(
        default=stated("0 g", "kg"),
        description="Mass that moves with the part while it is pushed (carrier, a third of the spring).",
    )

    def check(self) -> None:
        """Any values fit together."""

    def build(self, values: TableValues, part: Body, path: Path) -> Launch:
        """See `ForceTable.build`."""
        return Launch(**values.all("stiffness", "stretch", "carrier_mass"))

    @classmethod
    def suggested(cls, situation: Situation) -> Suggestion | None:
        """A spring on a level rail that gives the part the speed it has at gate 1 now."""
        s = situation
        if not s.without_devices or s.mass is None or s.slope == 0.0:
            return None
        # k d^2 = m v^2, and friction over the run-up to gate 1 on top
        first = 2.0 * STRETCH + 0.5 * s.length
        energy = s.mass * (1.0 + s.inertia_factor) * s.speed**2
        stiffness = (energy + 2.0 * s.mass * (s.friction * s.gravity) * first) / STRETCH**2
        changes = {
            "path.slope": "0 deg",
            cls.key: {"stiffness": f"{stiffness:.4g} N/m", "stretch": as_mm(STRETCH)},
            "gate.first": as_mm(first),
        }
        how = f"spring of {stiffness:.3g} N/m drawn back {as_mm(STRETCH)}, gate 1 at {as_mm(first)}"
        drop = ("formula.release_distance",)
        return Suggestion("level rail with a spring launch", how, changes, drop, another_machine=True)

    def caution(self) -> Caution:
        """It stores energy."""
        return Caution(
            "Stored energy",
            "a launcher that is drawn back stores energy, also when the machine is off: relax it before "
            "work, wear eye protection, and close the line of flight with a catch box.",
        )

    def drawn(self) -> Drawn:
        """The spring, pushing from release to its natural length."""
        return Drawn("spring", 0.0, self.stretch.nominal, "the zigzag the spring", "", "stretch")
