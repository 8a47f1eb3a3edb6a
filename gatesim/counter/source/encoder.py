"""The pulses of an encoder on a measuring roller."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np
from pydantic import Field

from gatesim.counter.source.base import Imperfection, Source, SourceTable, Travel
from gatesim.ground import keys
from gatesim.ground.arrays import Array, Scalar, column
from gatesim.ground.draw import Draw
from gatesim.ground.level import Level
from gatesim.ground.quantity import accepts, stated
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import Misfit, Table, TableValues

PULSES, EDGES, ROLLER = 1000, 4, "63.66 mm"  # of the one suggested: 0.05 mm a count


@dataclass(frozen=True)
@accepts(diameter="m", slip="", runout="m", channel_error="rad")
class Encoder(Source):
    """An encoder on a measuring roller.

    ``pulses`` lines a turn counted ``edge_factor`` (1, 2, 4) times; roller ``diameter`` (m);
    ``slip`` share of the travel missed; ``runout`` eccentricity (m), which modulates the
    travel once a turn by runout * sin(angle); ``channel_error`` (rad) of the second channel
    from 90 degrees, which makes every other edge early or late. ``travel`` (m) at times.
    The direction of counting follows that of the roller: what turns back is counted down.
    Edge factors are common practice, no source.
    """

    pulses: int
    edge_factor: int
    diameter: Scalar
    slip: Scalar
    runout: Scalar
    channel_error: Scalar
    travel: Travel

    @property
    def counts_per_pulse(self) -> int:
        """See `Source.counts_per_pulse`."""
        return self.edge_factor

    def phase(self, draw: Draw) -> Array:
        """See `Source.phase`."""
        return np.stack([draw.uniform("counter.phase"), draw.uniform("counter.roller_angle")]).T

    def progress(self, start: Array, times: Array, phase: Array) -> Array:
        """See `Source.progress`. The second column of ``phase`` is the roller's angle in turns."""
        finite = np.where(np.isfinite(times), times, start[:, None])
        way = self.travel(np.vstack([start, finite.T]).T)
        moved = (way[:, 1:] - way[:, :1]) * (1.0 - column(self.slip))
        diameter = column(self.diameter)
        if np.any(self.runout):
            angle = 2.0 * np.pi * phase[:, 1:2]
            turned = 2.0 * moved / diameter
            moved = moved + column(self.runout) * (np.sin(angle + turned) - np.sin(angle))
        counts: Array = moved * (self.pulses * self.edge_factor) / (np.pi * diameter)
        return np.where(np.isfinite(times), counts, np.nan)

    def whole(self, progress: Array, phase: Array) -> Array:
        """See `Source.whole`; with an edge factor of 4, every other edge is the second channel's."""
        shift = np.zeros(1) if self.edge_factor < 4 else np.asarray(self.channel_error) * 2.0 / np.pi
        shift = column(shift)
        # the roller stands anywhere between two edges, of which either may be the first channel's;
        # at the median phase in the middle between them
        origin = 0.5 + 2.0 * phase[:, :1]
        return _edges_passed(origin + progress, shift) - _edges_passed(origin, shift)


def _edges_passed(position: Array, shift: Array) -> Array:
    """Edges up to ``position`` in counts, where odd ones lie ``shift`` counts late."""
    below: Array = np.floor(position)
    if not np.any(shift):
        return below
    rest = position - below
    odd = below != 2.0 * np.floor(0.5 * below)
    not_yet = odd & (rest < shift)
    already = ~odd & (rest >= 1.0 + shift)
    edges: Array = below - not_yet + already
    return edges


class EncoderTable(SourceTable):
    """An encoder on a measuring roller as the source of counts."""

    key: ClassVar[str] = "encoder"
    beside: ClassVar[type[Table] | None] = None
    purpose: ClassVar[str] = "Encoder counted instead of a clock."
    called_for: ClassVar[str] = "a table [{key}.encoder]"
    word: ClassVar[str] = "an encoder"
    measures: ClassVar[Literal["time", "travel"]] = "travel"

    per_key: ClassVar[Mapping[str, Level]] = {"slip": "part"}
    pulses_per_turn: int = Field(ge=1, description="Lines of the encoder disc.")
    edge_factor: Literal[1, 2, 4] = Field(default=1, description="Counted edges a line: 1, 2 or 4.")
    roller_diameter: keys.Length = Field(description="Diameter of the measuring roller.")
    rides_on: Literal["belt", "part"] = Field(default="belt", description="What turns the roller.")
    slip: keys.Relative = Field(
        default=stated("0 %"),
        description="Share of the travel that the roller misses.",
    )
    runout: keys.Distance = Field(
        default=stated("0 mm", "m"),
        description="Eccentricity of the roller: it adds this length times the change of the sine of the "
        "roller's angle to the travel, once a turn; the angle at release is uniform.",
    )
    channel_phase_error: keys.Phase = Field(
        default=stated("0 deg", "rad"),
        description="Deviation of the second channel from 90 deg of a line: with an edge factor of 4 every "
        "other edge comes so much late. Where the roller stands between two edges at release is uniform.",
    )
    filtered: bool = Field(
        default=False,
        description="Whether the pulses pass the same input filter as the gates.",
    )

    def build(self, counter: TableValues, travel: Travel) -> Encoder:
        """See `SourceTable.build`."""
        values = TableValues(counter.values, f"{counter.name}.encoder")
        return Encoder(
            self.pulses_per_turn,
            self.edge_factor,
            values["roller_diameter"],
            values["slip"],
            values["runout"],
            values["channel_phase_error"],
            travel,
        )

    @property
    def turned_by(self) -> Literal["belt", "part"]:
        """See `SourceTable.turned_by`."""
        return self.rides_on

    @property
    def passes_filter(self) -> bool:
        """See `SourceTable.passes_filter`."""
        return self.filtered

    @property
    def tick(self) -> float:
        """See `SourceTable.tick`."""
        return math.nan

    @property
    def pitch(self) -> float:
        """See `SourceTable.pitch`."""
        return math.pi * self.roller_diameter.nominal / (self.pulses_per_turn * self.edge_factor)

    @property
    def counts(self) -> str:
        """See `SourceTable.counts`."""
        return "encoder edges"

    @property
    def pulses(self) -> str:
        """See `SourceTable.pulses`."""
        return "The encoder's pulses"

    @property
    def step(self) -> str:
        """See `SourceTable.step`."""
        return "a pulse"

    @property
    def setting(self) -> str:
        """See `SourceTable.setting`."""
        return (
            f"encoder, {self.pulses_per_turn} lines, {self.edge_factor} edges a line, "
            f"roller {self.roller_diameter.text}"
        )

    @property
    def imperfections(self) -> tuple[Imperfection, ...]:
        """See `SourceTable.imperfections`."""
        at = "counter.encoder"
        return (
            Imperfection(
                "slip",
                "slip of the measuring roller",
                ((f"{at}.slip", 0.0),),
                f"The measuring roller misses {self.slip.text} of the travel.",
            ),
            Imperfection(
                "runout",
                "runout of the measuring roller",
                ((f"{at}.runout", 0.0),),
                f"The measuring roller runs {self.runout.text} out of true, which adds or takes away a "
                "little, depending on where in its turn it starts.",
            ),
            Imperfection(
                "channel",
                "phase between the encoder's channels",
                ((f"{at}.channel_phase_error", 0.0),),
                "",
            ),
        )

    def steps(self, progress: Array) -> Array:
        """See `SourceTable.steps`: two edges a phase, of which the second channel's may lie off."""
        late = self.channel_phase_error.nominal * 2.0 / np.pi if self.edge_factor == 4 else 0.0
        steps = [m - gone + shift for gone in (0.0, *progress) for m in (0, 1) for shift in (0.0, late)]
        # as `Encoder.whole` has it: half a count at phase 0, two counts a phase
        return np.asarray(np.mod((np.array(steps) - 0.5) / 2.0, 1.0))

    def check(self, key: str, *, belt: bool) -> None:
        """See `SourceTable.check`."""
        if self.rides_on == "belt" and not belt:
            raise Misfit(f"{key}.encoder.rides_on", "belt", 'a table [belt], or "part"')

    @classmethod
    def suggested(cls, *, belt: bool) -> Suggestion | None:
        """See `SourceTable.suggested`: where a belt carries the parts."""
        if not belt:
            return None
        table = {"pulses_per_turn": PULSES, "edge_factor": EDGES, "roller_diameter": ROLLER}
        how = f"{PULSES} lines counted {EDGES} times on a roller of {ROLLER}; counts travel, not time"
        changes = {"counter.encoder": {**table, "rides_on": "belt"}}
        return Suggestion("encoder on a measuring roller", how, changes, ("counter.frequency", "formula.use"))
