"""A whole rig as its file describes it."""

import math
from collections.abc import Iterator, Mapping
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
from gatesim.scenario.correlation import CorrelationTable, correlation_of, fitted_correlation
from gatesim.scenario.counting import FollowerTable, FormulaTable, RequirementTable
from gatesim.scenario.fitted import FittedTable, as_fitted
from gatesim.scenario.moving import PartTable, PathTable
from gatesim.scenario.sensing import GATES, GateTable, SensorsTable, SensorTable
from gatesim.scenario.validated import raw_with_all, validated

OF_THE_OUTLINE = ("part.height", "part.front.", "part.rear.", "part.openings.", "sensor.beam.")
"""Dimensions of outline and beam, which are integrated once for each value of theirs that it takes."""

STEEPEST_BEAM = math.radians(60.0) + 1e-9

_UPRIGHT = math.radians(90.0) - 1e-9


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
        about_motion = (_check_part, _check_rolling, _check_forces)
        found = []
        for check in (_check_gates, *about_motion, _check_counter, _check_filter, _check_rest):
            try:
                check(self)
            except Misfit as misfit:  # the others are told as well
                found.append(misfit)
        if found:
            raise Misfits(found)
        return self


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


def _check_gates(s: Scenario) -> None:
    rearm, spacing = s.gate.rearm, s.gate.spacing
    if rearm is not None and rearm.nominal <= spacing.nominal:
        raise Misfit("gate.rearm", rearm.text, f"a distance beyond the second gate, above {spacing.text}")


def _check_part(s: Scenario) -> None:
    needing = [force.key for force in s.forces if force.needs_mass]
    if s.part.mass is not None and s.part.mass_per_length is not None:
        raise Misfit("part.mass_per_length", s.part.mass_per_length.text, "nothing beside a mass")
    if needing and s.part.nominal_mass is None:
        raise Misfit(
            "part.mass", "nothing", f'a mass such as "0.25 kg", since [{needing[0]}] acts on the part'
        )
    length = s.part.length.nominal
    ends = {
        key: end.reach for key, end in (("front", s.part.front), ("rear", s.part.rear)) if end.needs_height
    }
    if sum(ends.values()) > length:
        key = "rear" if "rear" in ends else "front"
        raise Misfit(
            f"part.{key}.length", "ends longer than the part", f"at most {s.part.length.text} for both"
        )
    for key in ends:
        if s.part.height is None:
            raise Misfit("part.height", "nothing", f'a height such as "20 mm", since part.{key} has a shape')
    reach = ends.get("front", 0.0)
    for number, opening in enumerate(s.part.openings, start=1):
        key = f"part.openings.{number}"
        if opening.start.nominal < reach:
            raise Misfit(
                f"{key}.start", opening.start.text, "a start behind the end or opening in front of it"
            )
        reach = opening.start.nominal + opening.length.nominal
        if reach > length - ends.get("rear", 0.0):
            raise Misfit(
                f"{key}.length", opening.length.text, "an opening that ends before the part's rear end"
            )
        if opening.height is not None and s.part.height is None:
            raise Misfit("part.height", "nothing", 'a height such as "20 mm", since an opening has a height')
        opening.check(key)


def _check_rolling(s: Scenario) -> None:
    factor, grip, friction = s.part.inertia_factor, s.path.static_friction, s.path.friction
    if factor.nominal == 0.0 and factor.spread is None:
        if grip is not None and grip.nominal < friction.nominal:
            expected = f"at least the friction in motion, {friction.text}"
            raise Misfit("path.static_friction", grip.text, expected)
        return
    for force in s.forces:
        if not force.takes_rolling:
            expected = f"0, since rolling on a [{force.key}] is not modelled"
            raise Misfit("part.inertia_factor", factor.text, expected)
    if abs(s.path.slope.nominal) > _UPRIGHT:
        expected = f"0, since at {s.path.slope.text} no force presses the part to the path to make it roll"
        raise Misfit("part.inertia_factor", factor.text, expected)
    need = (factor.nominal * math.tan(abs(s.path.slope.nominal)) + friction.nominal) / (1 + factor.nominal)
    if grip is not None and grip.nominal < need:
        expected = f"at least {need:.3g}, without which the part does not roll on this slope"
        raise Misfit("path.static_friction", grip.text, f"{expected}; one that slides has inertia_factor 0")


def _check_forces(s: Scenario) -> None:
    for force in s.forces:
        force.check()
        force.check_part(s.part)


def _check_counter(s: Scenario) -> None:
    s.counter.check("counter", belt=s.carried)


def _check_filter(s: Scenario) -> None:
    s.filter.check("filter")
    for gate in (0, *(number for number, name in enumerate(GATES, 1) if getattr(s.sensor, name))):
        sensor = s.sensor if gate == 0 else s.sensor.of(gate)
        where = "sensor" if gate == 0 else f"sensor.{GATES[gate - 1]}"
        dark, light = sensor.dark_fraction, sensor.light_fraction
        for key, share in (("dark_fraction", dark), ("light_fraction", light)):
            if not 0.0 < share.nominal < 1.0:
                raise Misfit(f"{where}.{key}", share.text, "a share between 0 and 1, both excluded")
        if light.nominal > dark.nominal:
            raise Misfit(f"{where}.light_fraction", light.text, f"at most the dark_fraction, {dark.text}")
        if abs(sensor.angle.nominal) > STEEPEST_BEAM:
            raise Misfit(f"{where}.angle", sensor.angle.text, "at most 60 deg either way")
    if s.sensor.gate3 is not None and s.gate.rearm is None:
        raise Misfit("sensor.gate3", "a table", 'a third gate: gate.rearm such as "400 mm"')


def _check_rest(s: Scenario) -> None:
    low, high = s.requirement.lower_limit, s.requirement.upper_limit
    if low is not None and high is not None and low.nominal >= high.nominal:
        raise Misfit("requirement.lower_limit", low.text, f"a length below upper_limit, {high.text}")
    short, long = s.requirement.shortest, s.requirement.longest
    if short is not None and long is not None and short.nominal >= long.nominal:
        raise Misfit("requirement.shortest", short.text, f"a length below longest, {long.text}")
    for key, quantity in s.quantities().items():
        if quantity.spread is not None and key.split(".")[0] in ("formula", "requirement"):
            raise Misfit(key, "a spread", "a plain value, since a controller's constant or a limit has none")
    if s.fitted is not None:
        _check_fitted(s.fitted)
    _check_correlations(s)


def _check_correlations(s: Scenario) -> None:
    seen: dict[str, int] = {}
    for number, correlation in enumerate(s.correlations(), start=1):
        for name in correlation.names:
            if name in seen:
                other = f"correlation.{seen[name]}"
                where = "fitted.covariance" if number > len(s.correlation) else f"correlation.{number}"
                raise Misfit(where, f"{name}, which {other} has too", "each quantity in one table only")
            seen[name] = number


def _check_fitted(fitted: FittedTable) -> None:
    size, c = len(fitted.quantities), fitted.covariance
    if len(fitted.estimates) != size:
        raise Misfit("fitted.estimates", f"{len(fitted.estimates)} numbers", f"{size}, one a quantity")
    if len(c) != size or any(len(row) != size for row in c):
        raise Misfit("fitted.covariance", "another shape", f"{size} rows of {size} numbers")
    pairs = [(i, j) for i in range(size) for j in range(i)]
    if any(c[i][j] != c[j][i] for i, j in pairs) or any(
        c[i][j] ** 2 > c[i][i] * c[j][j] * (1.0 + 1e-6) for i, j in pairs
    ):
        raise Misfit(
            "fitted.covariance", "no covariance matrix", "a symmetric one, correlations within -1 and 1"
        )
    missing = sorted(set(fitted.unknowns) - set(fitted.quantities))
    if missing:
        raise Misfit("fitted.unknowns", repr(missing[0]), "names that fitted.quantities has as well")
