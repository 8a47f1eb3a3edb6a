"""Tables of the counter, the formulas and what is asked of the reading."""

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, create_model, model_validator

from gatesim.formula import FORMULAS
from gatesim.ground import keys
from gatesim.ground.level import Level
from gatesim.ground.quantity import stated
from gatesim.ground.table import Misfit, Table

JUDGED = 5
"""Lengths over which a requirement for a range of them is judged, evenly spaced."""

if TYPE_CHECKING:
    FormulaName = str
else:
    FormulaName = Literal[tuple(FORMULAS)]


class LineTable(Table):
    """A calibration line: what the formula reads, times the gain, plus the zero."""

    gain: keys.Above0 = Field(default=stated("1"), description="Slope of the line.")
    zero: keys.Offset = Field(default=stated("0 mm", "m"), description="Constant of the line.")

    @property
    def straight_through(self) -> bool:
        """Whether the line changes nothing."""
        return self.gain.nominal == 1.0 and self.zero.nominal == 0.0


if TYPE_CHECKING:
    LinesTable = Table
else:
    LinesTable = create_model(
        "LinesTable",
        __base__=Table,
        __doc__="Calibration lines, each of the formula whose readings it was taken from.",
        **dict.fromkeys(FORMULAS, (LineTable | None, None)),
    )


def _or_single(schema: dict[str, Any]) -> None:
    """Let the schema take one formula in place of a list."""
    schema["anyOf"].append({"enum": list(FORMULAS)})


class FormulaTable(Table):
    """The formulas, and the constants the controller holds; a constant left out is the nominal one."""

    called: ClassVar[tuple[str, ...]] = ("formulas", "calculation")
    synonyms: ClassVar[Mapping[str, str]] = {
        "name": "use",
        "formula": "use",
        "formulas": "use",
        "method": "use",
        "offset": "zero",
        "scale": "gain",
        "distance": "spacing",
    }

    use: Annotated[tuple[FormulaName, ...], Field(min_length=1)] | None = Field(
        default=None,
        description="Formulas to evaluate, the first is the one in charge; left out: all. A single one need "
        "not be a list.",
        json_schema_extra=_or_single,
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
        default=stated("1"), description="Slope of the calibration line of the formula in charge."
    )
    zero: keys.Offset = Field(
        default=stated("0 mm", "m"),
        description="Constant of the calibration line of the formula in charge.",
    )
    calibration: LinesTable | None = Field(
        default=None, description="Calibration line of each formula; then without gain and zero above."
    )

    def line(self, formula: str, charge: str) -> LineTable:
        """The line of ``formula``, where the formula ``charge`` is in charge."""
        own: LineTable | None = None if self.calibration is None else getattr(self.calibration, formula)
        if own is None and formula == charge:
            return LineTable.model_construct(gain=self.gain, zero=self.zero)
        return own or LineTable()

    @model_validator(mode="before")
    @classmethod
    def _listed(cls, given: Any) -> Any:
        """A single formula as the list that it stands for."""
        if isinstance(given, dict) and isinstance(given.get("use"), str):
            return {**given, "use": [given["use"]]}
        return given

    @model_validator(mode="after")
    def _one_place_for_a_line(self) -> Self:
        for key in ("gain", "zero"):
            if self.calibration is not None and key in self.model_fields_set:
                given = getattr(self, key).text
                expected = f"{key} in a table [formula.calibration.NAME], since there is one"
                raise Misfit(f"formula.{key}", given, expected)
        return self


class RequirementTable(Table):
    """What the reading must achieve: limits of the part's length, or an error for any length."""

    called: ClassVar[tuple[str, ...]] = ("tolerance", "limits", "tolerances", "requirements")
    synonyms: ClassVar[Mapping[str, str]] = {
        "minimum": "lower_limit",
        "min": "lower_limit",
        "lower": "lower_limit",
        "maximum": "upper_limit",
        "max": "upper_limit",
        "upper": "upper_limit",
        "lsl": "lower_limit",
        "usl": "upper_limit",
        "tolerance": "max_error",
        "error": "max_error",
    }

    lower_limit: keys.Length | None = Field(default=None, description="Lower tolerance limit of the length.")
    upper_limit: keys.Length | None = Field(default=None, description="Upper tolerance limit of the length.")
    max_error: keys.Length | None = Field(
        default=None, description="Greatest error of a reading, either way, for a part of any length."
    )
    shortest: keys.Length | None = Field(
        default=None, description="Shortest part to be read; left out, [part] length."
    )
    longest: keys.Length | None = Field(
        default=None, description="Longest part to be read; left out, [part] length."
    )

    def allowed(self, length: float) -> float:
        """Greatest error in m that is allowed to a part of nominal ``length`` (m); NaN where none is stated.

        Limits allow as much as the nearer one is off; for other lengths they move along.
        """
        room = [abs(q.nominal - length) for q in (self.lower_limit, self.upper_limit) if q is not None]
        room += [] if self.max_error is None else [self.max_error.nominal]
        return min(room, default=math.nan)

    def lengths(self, nominal: float) -> tuple[float, ...]:
        """Lengths in m at which it is judged, ascending: the part's, and others over the range stated."""
        low = nominal if self.shortest is None else self.shortest.nominal
        high = nominal if self.longest is None else self.longest.nominal
        if not low < high:
            return (nominal,)
        return tuple(sorted({nominal, *(low + (high - low) * i / (JUDGED - 1) for i in range(JUDGED))}))


class FollowerTable(Table):
    """A next part released behind the measured one."""

    called: ClassVar[tuple[str, ...]] = ("next", "followers", "next_part")
    synonyms: ClassVar[Mapping[str, str]] = {
        "period": "interval",
        "gap": "interval",
        "time": "interval",
        "number": "count",
    }

    per: ClassVar[Level] = "passage"
    interval: keys.Period = Field(description="Time from the release of the part to that of the next.")
    count: int = Field(default=1, ge=1, le=100, description="How many parts follow.")
