"""The file that `gatesim choose` takes: a base rig, what may be changed in it, and what is wanted."""

import difflib
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, Field, ValidationError, model_validator

from gatesim.ground import keys
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Table
from gatesim.scenario.schema import schema_of
from gatesim.studies.rig import parse_axis
from gatesim.studies.sweep import Axis


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
        default=Quantity(0.99, "%", "99 %"), description="Least share of parts that are measured undisturbed."
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
    ranges: tuple[Axis, ...]
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
    """Read and validate the file. Raises InputError with one sentence."""
    path = Path(file)
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path}: it cannot be read ({error.strerror or error})") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise InputError(f"{path}: it is not valid TOML: {error}") from None
    return choice_of(raw, path.parent, str(path))


def choice_of(raw: dict[str, Any], folder: Path, file: str = "<table>") -> Choice:
    """Validate the tables of such a file. Raises InputError with one sentence."""
    try:
        sections = ChoiceSections.model_validate(raw)
    except ValidationError as error:
        raise InputError(f"{file}: {_sentence(error)}") from None
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


def _missing(steps: list[str]) -> str:
    """What is expected at a key that was left out."""
    model: type[BaseModel] = WantedTable if len(steps) > 1 else ChoiceSections
    info = model.model_fields[steps[-1]]
    readers = [item.expected for item in info.metadata if isinstance(item, keys.Reader)]
    if readers:
        return f"{readers[0]} ({(info.description or '').rstrip('.').lower()})"
    needed = [key for key, field in WantedTable.model_fields.items() if field.is_required()]
    return f"a table [{steps[-1]}] with at least {', '.join(needed[:-1])} and {needed[-1]}"


def _sentence(problem: ValidationError) -> str:
    """The first problem as one sentence; the keys a table may have where one is unknown."""
    errors = problem.errors(include_url=False)
    error = next((e for e in errors if e["type"] == "extra_forbidden"), errors[0])
    steps = [str(step) for step in error["loc"]]
    where = ".".join(steps)
    given = "a table" if isinstance(error["input"], dict | BaseModel) else repr(error["input"])
    if error["type"] == "extra_forbidden":
        model: type[BaseModel] = ChoiceSections
        if len(steps) > 1:
            model = WantedTable if steps[0] == "wanted" else Alternative
        close = difflib.get_close_matches(steps[-1], model.model_fields, n=1, cutoff=0.4)
        hint = f"did you mean {close[0]!r}?" if close else f"expected one of {', '.join(model.model_fields)}"
        return f"{where}: no such key, {hint}"
    if error["type"] == "missing":
        return f"{where}: given nothing, expected {_missing(steps)}"
    if error["type"] == "value_error":
        text = str(error["ctx"]["error"])
        if text.count("|") == 2:
            where, given, expected = text.split("|")
            return f"{where}: given {given}, expected {expected}"
        reason, _, expected = text.rpartition("|")
        return f"{where}: given {given} ({reason}), expected {expected}"
    expected = error["msg"].removeprefix("Input should be ").replace("Input should ", "")
    return f"{where}: given {given}, expected {expected}"
