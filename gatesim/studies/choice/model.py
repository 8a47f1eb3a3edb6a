"""The file that `gatesim choose` takes: a base rig, what may be changed in it, and what is wanted."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from gatesim.ground import keys
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import stated
from gatesim.ground.table import Table
from gatesim.scenario.reader import read_text, text_of
from gatesim.scenario.schema import schema_of
from gatesim.scenario.validated import validated
from gatesim.studies.rig import parse_axis
from gatesim.studies.sweep import SweptQuantity


class Alternative(Table):
    """One way to build a part of the rig."""

    cost: Annotated[float, Field(ge=0.0, allow_inf_nan=False)] = Field(
        default=0.0, description="What it adds to the cost, in a unit of the file's own."
    )
    base: str | None = Field(default=None, description="Scenario file that replaces the file's base.")
    set: dict[str, Any] = Field(
        default={},
        description="Scenario path -> text, number or table. A plain value keeps the spread that the base "
        "has there; a table states its own.",
    )
    without: tuple[str, ...] = Field(default=(), description="Tables of the base that are left out.")
    note: str = Field(default="", description="Anything a reader should know.")


class WantedTable(Table):
    """What the rig must do. A limit that is left out is not asked for."""

    shortest: keys.Length = Field(description="Shortest part.")
    longest: keys.Length = Field(description="Longest part.")
    lengths: int = Field(default=5, ge=1, le=200, description="Part lengths that are tried, evenly spaced.")
    tolerance: keys.Length = Field(description="Half-width of the tolerance of the part's length.")
    rms_error: keys.Length | None = Field(
        default=None, description="Largest root mean square error of a reading (bias included)."
    )
    c_gk: Annotated[float, Field(gt=0.0, allow_inf_nan=False)] | None = Field(
        default=None, description="Least capability index of the gauge, bias included."
    )
    convention: Literal["iso", "msa"] = Field(default="iso", description="Which definition of C_gk.")
    wrong_decision: keys.Share | None = Field(
        default=None, description="Highest probability of accepting a bad part or rejecting a good one."
    )
    process_standard_deviation: keys.Length | None = Field(
        default=None, description="Scatter of the cut lengths; needed for wrong_decision."
    )
    least_yield: keys.Share = Field(
        default=stated("99 %"), description="Least share of parts that are measured undisturbed."
    )
    feed_rate: keys.Frequency | None = Field(default=None, description="Parts a time, such as 10 1/min.")
    floor_space: keys.Length | None = Field(default=None, description="Longest rig, along the floor.")
    headroom: keys.Length | None = Field(default=None, description="Highest rig.")

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.longest.nominal < self.shortest.nominal:
            raise ValueError(
                f"wanted.longest|{self.longest.text!r}|a length of at least {self.shortest.text}"
            )
        if self.lengths == 1 and self.longest.nominal > self.shortest.nominal:
            raise ValueError("wanted.lengths|1|at least 2 for a range of lengths")
        if self.wrong_decision is not None and self.process_standard_deviation is None:
            raise ValueError(
                'wanted.process_standard_deviation|nothing|a length such as "0.1 mm" for wrong_decision'
            )
        return self


class ChoiceSections(Table):
    """The whole file."""

    title: str = Field(default="", description="Shown above the result.")
    note: str = Field(default="", description="Anything a reader should know.")
    base: str | dict[str, Any] | None = Field(default=None, description="Scenario file, or its tables.")
    calibration: Literal["none", "zero", "line"] = Field(
        default="none",
        description="How each rig at hand is set up with reference parts, five passages of each: not at all, "
        "one of the middle length (constant), or the shortest and the longest (straight line).",
    )
    wanted: WantedTable = Field(description="What the rig must do.")
    options: dict[str, Annotated[dict[str, Alternative], Field(min_length=1)]] = Field(
        default={}, description="Option -> its alternatives by name."
    )
    ranges: tuple[str, ...] = Field(
        default=(), description='Continuous quantities as "PATH=LOW:HIGH:POINTS" with the points to start at.'
    )


def choice_schema() -> dict[str, Any]:
    """JSON Schema of the file."""
    return schema_of(ChoiceSections, "gatesim choose")


@dataclass(frozen=True)
class Choice:
    """A file that was read: its sections, the ranges as axes, and the folder that paths start from."""

    sections: ChoiceSections
    ranges: tuple[SweptQuantity, ...]
    folder: Path
    file: str

    @property
    def wanted(self) -> WantedTable:
        """What the rig must do."""
        return self.sections.wanted

    @property
    def bases(self) -> tuple[Path, ...]:
        """The scenario files that it names."""
        every = [a.base for alternatives in self.sections.options.values() for a in alternatives.values()]
        return tuple(self.folder / base for base in [self.sections.base, *every] if isinstance(base, str))


def load_choice(file: str | Path) -> Choice:
    """Read and validate the file. Raises InputError with a sentence for all that is wrong."""
    path = Path(file)
    return read_text(text_of(path), str(path), lambda raw, name: choice_of(raw, path.parent, name))


def choice_of(raw: dict[str, Any], folder: Path, file: str = "<table>") -> Choice:
    """Validate the tables of such a file. Raises InputError with a sentence for all that is wrong."""
    sections = validated(ChoiceSections, raw, file, "a file to choose from")
    axes = []
    for text in sections.ranges:
        try:
            axes.append(parse_axis(text))
        except InputError as error:
            raise InputError(str(error).replace("--vary", f"{file}: ranges")) from None
    if len({axis.path for axis in axes}) < len(axes):
        raise InputError(f"{file}: ranges: a path is given twice, expected each once")
    for option, alternatives in sections.options.items():
        based = [name for name, a in alternatives.items() if a.base is None and sections.base is None]
        if sections.base is None and len(based) < len(alternatives) and based:
            raise InputError(f"{file}: options.{option}.{based[0]}: given no base, expected a scenario file")
    return Choice(sections, tuple(axes), folder, file)
