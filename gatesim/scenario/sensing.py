"""Tables of the gates and their sensors."""

from typing import Annotated

from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Table
from gatesim.sensor import BEAMS, WITHOUT_WIDTH, BeamTable


class GateTable(Table):
    """Where the gates stand."""

    first: keys.Length = Field(description="Distance from the leading end at release to the first gate.")
    spacing: keys.Length = Field(description="Distance from the first gate to the second.")
    rearm: keys.Length | None = Field(
        default=None, description="Distance from the first gate to a third one that re-arms the counter."
    )


class ChatterTable(Table):
    """Extra transitions after a switching edge: a Poisson number of pulses, exponentially spaced."""

    mean_pulses: keys.Ratio = Field(description="Mean number of extra pulses after an edge.")
    mean_spacing: keys.Period = Field(description="Mean time between the extra transitions.")


class SensorTable(Table):
    """The light gates, all of one type; every gate draws its own deviations."""

    beam: Annotated[BeamTable, BEAMS] = Field(default=WITHOUT_WIDTH, description="Shape of the light beam.")
    dark_fraction: keys.Share = Field(
        default=Quantity(0.5, "%", "50 %"),
        description="Blocked share of the beam at which the output goes dark.",
    )
    light_fraction: keys.Share = Field(
        default=Quantity(0.5, "%", "50 %"), description="Blocked share at which the output goes light again."
    )
    time_constant: keys.Time = Field(
        default=Quantity(0.0, "s", "0 s"), description="Time constant of the receiver before its comparator."
    )
    dark_delay: keys.Time = Field(
        default=Quantity(0.0, "s", "0 s"), description="Response time of the output on going dark."
    )
    light_delay: keys.Time = Field(
        default=Quantity(0.0, "s", "0 s"), description="Response time of the output on going light."
    )
    jitter: keys.Time = Field(
        default=Quantity(0.0, "s", "0 s"), description="Standard deviation of each switching time."
    )
    sampling_period: keys.Period | None = Field(
        default=None, description="Pulse period of a pulsed-light sensor; left out: continuous light."
    )
    samples_in_row: int = Field(
        default=1, ge=1, le=64, description="Equal samples in a row that a pulsed-light sensor needs."
    )
    chatter: ChatterTable | None = Field(default=None, description="Extra transitions after each edge.")
