"""Tables of the counter, the formulas and what is asked of the reading."""

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import Field

from gatesim.formula import FORMULAS
from gatesim.ground import keys
from gatesim.ground.level import Level
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Table

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

    per: ClassVar[Level] = "passage"
    interval: keys.Period = Field(description="Time from the release of the part to that of the next.")
    count: int = Field(default=1, ge=1, le=100, description="How many parts follow.")
