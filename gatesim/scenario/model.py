"""A whole rig as its file describes it."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, Any, Self

from pydantic import BaseModel, Field, PrivateAttr, create_model, model_validator

from gatesim.counter import CounterTable
from gatesim.ground import keys
from gatesim.ground.correlation import Correlation
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Misfit, Misfits, Table
from gatesim.inputfilter import FILTERS, UNFILTERED, FilterTable
from gatesim.motion import FORCES, ForceTable
from gatesim.scenario import consistency
from gatesim.scenario.correlation import CorrelationTable, correlation_of, fitted_correlation
from gatesim.scenario.counting import FollowerTable, FormulaTable, RequirementTable
from gatesim.scenario.fitted import FittedTable, as_fitted
from gatesim.scenario.moving import PartTable, PathTable
from gatesim.scenario.sensing import GATES, GateTable, SensorsTable, SensorTable
from gatesim.scenario.validated import raw_with_all, validated

OF_THE_OUTLINE = ("part.height", "part.front.", "part.rear.", "part.openings.", "sensor.beam.")
"""Dimensions of outline and beam, which are integrated once for each value of theirs that it takes."""


class _Moving(Table):
    """What moves, and along what."""

    title: keys.Title = Field(default="", description="Name of the rig, shown in every result.")
    note: keys.Note = Field(default="", description="Anything the reader of the file should know.")
    part: PartTable
    path: PathTable = Field(default_factory=PathTable)


if TYPE_CHECKING:  # nobody but a force itself is to know it by name
    _Forced = _Moving
else:
    _Forced = create_model(
        "_Forced", __base__=_Moving, **{force.key: (force | None, None) for force in FORCES}
    )


class Scenario(_Forced):
    """One rig: part, path and forces, gates, sensors, input filter, counter, formulas."""

    gate: GateTable
    sensor: SensorsTable = Field(default_factory=SensorsTable)
    filter: Annotated[FilterTable, FILTERS] = Field(default=UNFILTERED)
    counter: CounterTable
    formula: FormulaTable = Field(default_factory=FormulaTable)
    requirement: RequirementTable = Field(default_factory=RequirementTable)
    follower: FollowerTable | None = None
    correlation: tuple[CorrelationTable, ...] = Field(
        default=(), description="Quantities whose values go together."
    )
    fitted: FittedTable | None = Field(default=None, description="Left by a fit to a log.")
    _raw: dict[str, Any] = PrivateAttr(default_factory=dict)
    _file: str = PrivateAttr(default="")

    @property
    def raw(self) -> dict[str, Any]:
        """The table that was read, before validation."""
        return self._raw

    @property
    def file(self) -> str:
        """Name of the file it was read from; empty if there is none."""
        return self._file

    @classmethod
    def from_raw(cls, raw: Mapping[str, Any], file: str) -> "Scenario":
        """Validate a table as TOML gives it. Raises InputError with a sentence for all that is wrong."""
        scenario = validated(cls, raw, file)
        scenario._raw = dict(raw)
        scenario._file = file
        return scenario

    def with_values(self, values: Mapping[str, Any]) -> "Scenario":
        """A copy with other values, validated anew: {"gate.spacing": "80 mm"}.

        A value is what the file could have, text with a unit, a number or a table, or a pint
        quantity. A spread given at a path is kept about its new value; a table has its own.
        Raises InputError for a path that no scenario has or a value that does not fit.
        """
        raw = raw_with_all(Scenario, list(self.quantities()), self.raw, values, self.file)
        return Scenario.from_raw(raw, self.file)

    @property
    def judged_lengths(self) -> tuple[float, ...]:
        """Lengths in m over which the requirement is judged, ascending."""
        return self.requirement.lengths(self.part.length.nominal)

    @property
    def beside_the_point(self) -> str:
        """Which limit or length of the requirement rules out the part itself, as a sentence; or nothing."""
        length, asked = self.part.length, self.requirement
        for key, side in (
            ("lower_limit", -1.0), ("upper_limit", 1.0), ("shortest", -1.0), ("longest", 1.0),
        ):  # fmt: skip
            limit = getattr(asked, key)
            if limit is not None and side * (limit.nominal - length.nominal) < 0.0:
                said = "at most" if side < 0.0 else "at least"
                return (
                    f"requirement.{key}: given {limit.text}, expected {said} the part's length, {length.text}"
                )
        return ""

    @property
    def gate_positions(self) -> tuple[str, ...]:
        """Names of the gates' positions in order: two gates, or three with one to re-arm."""
        return ("first", "spacing") if self.gate.rearm is None else ("first", "spacing", "rearm")

    @property
    def sensors(self) -> tuple[SensorTable, ...]:
        """The sensor of each gate, in order."""
        return tuple(self.sensor.of(gate) for gate in range(1, len(self.gate_positions) + 1))

    @property
    def forces(self) -> tuple[ForceTable, ...]:
        """The forces on the part beside its weight and the path's friction."""
        stated = (getattr(self, force.key) for force in FORCES)
        return tuple(force for force in stated if force is not None)

    @property
    def carried(self) -> bool:
        """Whether a force carries the part at a speed of its own, as a belt does."""
        return any(force.carries for force in self.forces)

    def quantities(self) -> dict[str, Quantity]:
        """Every quantity of the scenario by its path, such as ``part.length``.

        Of a gate's own sensor those only in which it differs: ``sensor.gate2.dark_delay``.
        """
        return dict(self._quantities)

    @cached_property
    def _quantities(self) -> dict[str, Quantity]:
        found = dict(_walk(self, ""))
        if all(getattr(self.sensor, gate) is None for gate in GATES):
            return found
        like = {f"sensor.{gate}.{key}": f"sensor.{key}" for gate in GATES for key in _relative(self.sensor)}
        return {path: q for path, q in found.items() if path not in like or q != found.get(like[path])}

    def inputs(self) -> dict[str, Quantity]:
        """The quantities that one trial needs, by name.

        As `quantities`, without the constants of the formulas and the limits, and with
        one entry a gate for what each sensor has of its own: ``sensor.dark_delay@1``.
        """
        return dict(self._inputs)

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """See `pydantic.BaseModel.model_copy`; what was worked out of the original is left behind."""
        copied = super().model_copy(update=update, deep=deep)
        for name in ("_quantities", "_inputs"):
            vars(copied).pop(name, None)
        return copied

    @cached_property
    def _inputs(self) -> dict[str, Quantity]:
        found = {}
        own = [_relative(sensor) for sensor in self.sensors]
        for path, quantity in self.quantities().items():
            section = path.split(".")[0]
            if section == "sensor":
                key = path.removeprefix("sensor.").removeprefix("gate1.").removeprefix("gate2.")
                key = key.removeprefix("gate3.")
                for gate, quantities in enumerate(own, start=1):
                    if key in quantities:
                        found[f"sensor.{key}@{gate}"] = quantities[key]
            elif section not in ("formula", "requirement"):
                found[path] = quantity
        return found if self.fitted is None else as_fitted(self.fitted, found)

    def correlations(self) -> tuple[Correlation, ...]:
        """Inputs that are drawn together: those that the file says, and those of a fit."""
        if not self.correlation and self.fitted is None:
            return ()
        inputs = self.inputs()
        found = [
            correlation_of(table, f"correlation.{number}", inputs)
            for number, table in enumerate(self.correlation, start=1)
        ]
        of_fit = None if self.fitted is None else fitted_correlation(self.fitted, inputs)
        return tuple(found) if of_fit is None else (*found, of_fit)

    @model_validator(mode="after")
    def _fits(self) -> Self:
        checks: tuple[Callable[[], None], ...] = (
            lambda: consistency.check_gates(self.gate),
            lambda: consistency.check_part(self.part, self.forces),
            lambda: consistency.check_rolling(self.part, self.path, self.forces),
            lambda: consistency.check_forces(self.part, self.forces),
            lambda: self.counter.check("counter", belt=self.carried),
            lambda: self.filter.check("filter"),
            lambda: consistency.check_sensors(self.sensor, self.gate),
            lambda: consistency.check_requirement(self.requirement, self.quantities()),
            self._fits_together,
        )
        found = []
        for check in checks:
            try:
                check()
            except Misfit as misfit:  # the others are told as well
                found.append(misfit)
        if found:
            raise Misfits(found)
        return self

    def _fits_together(self) -> None:
        if self.fitted is not None:
            consistency.check_fitted(self.fitted)
        consistency.check_correlations(self.correlations(), len(self.correlation))


def _walk(model: BaseModel, prefix: str) -> Iterator[tuple[str, Quantity]]:
    for key in type(model).model_fields:
        value = getattr(model, key)
        path = f"{prefix}{key}"
        if isinstance(value, Quantity):
            yield path, _with_level(model, key, value)
        elif isinstance(value, BaseModel):
            yield from _walk(value, f"{path}.")
        elif isinstance(value, tuple):
            for number, item in enumerate(value, start=1):
                if isinstance(item, BaseModel):
                    yield from _walk(item, f"{path}.{number}.")


def _relative(sensor: SensorTable) -> dict[str, Quantity]:
    """Quantities of one sensor by key, those of gates of their own left out."""
    return {key: q for key, q in _walk(sensor, "") if not key.startswith(GATES)}


def _with_level(table: BaseModel, key: str, quantity: Quantity) -> Quantity:
    """How often it is drawn, where the file does not say."""
    if quantity.spread is None or quantity.per is not None or not isinstance(table, Table):
        return quantity
    return replace(quantity, per=table.level(key))
