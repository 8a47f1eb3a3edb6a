"""Tables of the gates and their sensors."""

from collections.abc import Callable, Mapping
from typing import Annotated, Any, ClassVar, Self

from pydantic import Field, model_validator

from gatesim.ground import keys
from gatesim.ground.quantity import stated
from gatesim.ground.table import Table
from gatesim.sensor import BEAMS, WITHOUT_WIDTH, BeamTable


class GateTable(Table):
    """Where the gates stand."""

    called: ClassVar[tuple[str, ...]] = ("gates", "light_gates", "light_gate", "light_barriers", "barriers")
    synonyms: ClassVar[Mapping[str, str]] = {
        "distance": "spacing",
        "separation": "spacing",
        "second": "spacing",
        "position": "first",
        "start": "first",
        "third": "rearm",
    }

    first: keys.Length = Field(
        examples=["300 mm"], description="Distance from the leading end at release to the first gate."
    )
    spacing: keys.Length = Field(
        examples=["60 mm"], description="Distance from the first gate to the second."
    )
    rearm: keys.Length | None = Field(
        default=None,
        description="Distance from the first gate to a third one that re-arms the counter.",
    )


class ChatterTable(Table):
    """Extra transitions after a switching edge: a Poisson number of pulses, exponentially spaced."""

    mean_pulses: keys.Number = Field(
        description="Mean of the Poisson distribution of the number of extra pulses after an edge. The "
        "output has the edge's level, goes back to the level before and comes again, so many times, and "
        "ends at the edge's level; a pulse that would reach the gate's next edge, and all after it, are "
        "left out."
    )
    mean_spacing: keys.Period = Field(
        description="Mean of the exponential distribution of every time from the edge, or from an extra "
        "transition, to the next extra transition."
    )


class SensorTable(Table):
    """A light gate's sensor."""

    called: ClassVar[tuple[str, ...]] = ("sensors", "photoeye", "receiver")
    synonyms: ClassVar[Mapping[str, str]] = {
        "threshold": "dark_fraction",
        "switching_level": "dark_fraction",
        "hysteresis": "light_fraction",
        "response_time": "dark_delay",
        "delay": "dark_delay",
        "on_delay": "dark_delay",
        "off_delay": "light_delay",
        "noise": "jitter",
        "bounce": "chatter",
        "sample_time": "sampling_period",
        "spot": "beam",
        "light_spot": "beam",
    }

    beam: Annotated[BeamTable, BEAMS] = Field(default=WITHOUT_WIDTH, description="Shape of the light beam.")
    dark_fraction: keys.Share = Field(
        default=stated("50 %"),
        description="Blocked share of the beam at which the output goes dark.",
    )
    light_fraction: keys.Share = Field(
        default=stated("50 %"),
        description="Blocked share at which the output goes light again.",
    )
    time_constant: keys.Time = Field(
        default=stated("0 s", "s"),
        description="Time constant of the receiver before its comparator.",
    )
    dark_delay: keys.Time = Field(
        default=stated("0 s", "s"),
        description="Response time of the output on going dark.",
    )
    light_delay: keys.Time = Field(
        default=stated("0 s", "s"),
        description="Response time of the output on going light.",
    )
    jitter: keys.Time = Field(
        default=stated("0 s", "s"),
        description="Standard deviation of each switching time: normal, drawn anew for every edge.",
    )
    sampling_period: keys.Period | None = Field(
        default=None,
        description="Pulse period of a pulsed-light sensor, its phase uniform, each gate's own; left out: "
        "continuous light.",
    )
    samples_in_row: int = Field(
        default=1,
        ge=1,
        le=64,
        description="Equal samples in a row that a pulsed-light sensor needs.",
    )
    chatter: ChatterTable | None = Field(default=None, description="Extra transitions after each edge.")
    angle: keys.Angle = Field(
        default=stated("0 deg", "rad"),
        description="Angle of the beam off the square across the path, in the plane of both; it sees the "
        "part's width.",
    )


def _over(shared: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    """A gate's keys on top of the shared ones; a beam without a shape is the shared one with some keys."""
    beam, like = own.get("beam"), shared.get("beam")
    if isinstance(beam, dict) and isinstance(like, dict) and "shape" not in beam:
        own = {**own, "beam": {**like, **beam}}
    return {**shared, **own}


GATES = ("gate1", "gate2", "gate3")


class SensorsTable(SensorTable):
    """The sensors of all gates, alike but for what a gate has of its own; each draws its own deviations."""

    gate1: SensorTable | None = Field(default=None, description="Keys in which gate 1 differs.")
    gate2: SensorTable | None = Field(default=None, description="Keys in which gate 2 differs.")
    gate3: SensorTable | None = Field(default=None, description="Keys in which gate 3 differs.")

    @model_validator(mode="before")
    @classmethod
    def _filled_in(cls, given: Any) -> Any:
        """A gate's table with the keys that it does not state taken from the others'."""
        if not isinstance(given, dict):
            return given
        shared = {key: value for key, value in given.items() if key not in GATES}
        own = {key: _over(shared, given[key]) for key in GATES if isinstance(given.get(key), dict)}
        return {**given, **own}

    def of(self, gate: int) -> SensorTable:
        """The sensor of gate 1, 2 or 3."""
        own: SensorTable | None = getattr(self, GATES[gate - 1])
        return self if own is None else own

    def with_each(self, change: Callable[[SensorTable], Mapping[str, Any]]) -> Self:
        """The sensors with keys of each replaced."""
        own = {key: table for key in GATES if (table := getattr(self, key)) is not None}
        changed = {key: table.model_copy(update=dict(change(table))) for key, table in own.items()}
        return self.model_copy(update={**change(self), **changed})

    def differing(self, gate: int) -> dict[str, Any]:
        """Keys in which a gate's sensor is not like the others'."""
        own = self.of(gate)
        return {
            key: getattr(own, key)
            for key in SensorTable.model_fields
            if getattr(own, key) != getattr(self, key)
        }
