"""Tables of the counter, the formulas and what is asked of the reading."""

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from gatesim.counter.timing import AT_ONCE, TIMINGS, TimingTable
from gatesim.formula import FORMULAS
from gatesim.ground import keys
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Table


class EncoderTable(Table):
    """An encoder on a measuring roller as the source of counts."""

    pulses_per_turn: int = Field(ge=1, description="Lines of the encoder disc.")
    edge_factor: Literal[1, 2, 4] = Field(default=1, description="Counted edges a line: 1, 2 or 4.")
    roller_diameter: keys.Length = Field(description="Diameter of the measuring roller.")
    rides_on: Literal["belt", "part"] = Field(default="belt", description="What turns the roller.")
    slip: keys.Relative = Field(
        default=Quantity(0.0, "%", "0 %"), description="Share of the travel that the roller misses."
    )
    runout: keys.Distance = Field(
        default=Quantity(0.0, "mm", "0 mm"), description="Eccentricity of the roller, felt once a turn."
    )
    channel_phase_error: keys.Phase = Field(
        default=Quantity(0.0, "deg", "0 deg"), description="Deviation of the second channel from 90 deg."
    )
    filtered: bool = Field(
        default=False, description="Whether the pulses pass the same input filter as the gates."
    )


class CounterTable(Table):
    """The counter and the inputs in front of it."""

    frequency: keys.Frequency | None = Field(default=None, description="Clock frequency; or give an encoder.")
    encoder: EncoderTable | None = Field(default=None, description="Encoder counted instead of a clock.")
    frequency_error: keys.Relative = Field(
        default=Quantity(0.0, "ppm", "0 ppm"), description="Relative deviation of the clock."
    )
    drift: keys.DriftRate = Field(
        default=Quantity(0.0, "ppm/s", "0 ppm/s"), description="Linear drift of that deviation in time."
    )
    width: Literal[16, 32] = Field(default=32, description="Width of the count register in bits.")
    input_frequency_limit: keys.Frequency | None = Field(
        default=None, description="Highest frequency that the count input follows."
    )
    timing: Annotated[TimingTable, TIMINGS] = Field(
        default=AT_ONCE, description="How the gate signals reach the counter."
    )
    counting: Literal["until-rearm", "while-dark"] = Field(
        default="until-rearm",
        description="Count on until re-armed, latching each edge; or only while the first gate is dark.",
    )


if TYPE_CHECKING:
    FormulaName = str
else:
    FormulaName = Literal[tuple(FORMULAS)]


class FormulaTable(Table):
    """The formulas, and the constants the controller holds; a constant left out is the nominal one."""

    use: Annotated[tuple[FormulaName, ...], Field(min_length=1)] | None = Field(
        default=None, description="Formulas to evaluate, the first is the one in charge; left out: all."
    )
    spacing: keys.Length | None = Field(
        default=None, description="Spacing that the controller calculates with."
    )
    rearm: keys.Length | None = Field(
        default=None, description="First to third gate, as the controller has it."
    )
    acceleration: keys.Acceleration | None = Field(default=None, description="Acceleration that it assumes.")
    release_distance: keys.Length | None = Field(default=None, description="Release to first gate, likewise.")
    gain: keys.Above0 = Field(
        default=Quantity(1.0, "", "1"), description="Slope of the calibration line, applied to every formula."
    )
    zero: keys.Offset = Field(
        default=Quantity(0.0, "mm", "0 mm"),
        description="Constant of the calibration line, added to every reading.",
    )


class RequirementTable(Table):
    """What the reading must achieve."""

    lower_limit: keys.Length | None = Field(default=None, description="Lower tolerance limit of the length.")
    upper_limit: keys.Length | None = Field(default=None, description="Upper tolerance limit of the length.")


class FollowerTable(Table):
    """A next part released behind the measured one."""

    interval: keys.Period = Field(description="Time from the release of the part to that of the next.")
    count: int = Field(default=1, ge=1, le=100, description="How many parts follow.")
