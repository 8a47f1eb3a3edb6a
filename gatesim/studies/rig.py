"""A rig as a model that can be studied."""

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from hashlib import blake2b
from typing import Self

import numpy as np

from gatesim.chain import pipeline
from gatesim.chain.controller import Controller
from gatesim.chain.once import once
from gatesim.chain.reference import Calibration, reference_lengths, with_references
from gatesim.chain.sampled import at_mean_delay, sampling_periods
from gatesim.chain.together import Case
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.correlation import Correlation
from gatesim.ground.draw import Draw, Nominal
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import Quantity, parse
from gatesim.scenario import Scenario
from gatesim.scenario.reader import changed
from gatesim.sensor.respond import JITTER
from gatesim.studies.model import Trials
from gatesim.studies.surveyed import surface_for
from gatesim.studies.sweep import SweptQuantity, grid_values


@dataclass(frozen=True)
class RigModel:
    """The measurement a scenario describes. See `gatesim.studies.model.Model`.

    ``sampling``: stages that sample even where nothing is rounded. ``move`` and ``controller`` as
    `gatesim.chain.pipeline.run` has them; ``surface``: a move that is fitted to the equation of motion.
    """

    scenario: Scenario
    sampling: frozenset[str] = field(default=frozenset(), kw_only=True)
    move: pipeline.Move = field(default=once, kw_only=True)
    controller: Controller | None = field(default=None, kw_only=True)
    surface: pipeline.Move | None = field(default=None, kw_only=True)

    @cached_property
    def inputs(self) -> Mapping[str, Quantity]:
        """The quantities of the scenario that have a spread."""
        return {name: q for name, q in self.scenario.inputs().items() if q.spread is not None}

    @cached_property
    def correlations(self) -> tuple[Correlation, ...]:
        """See `gatesim.studies.model.Correlated.correlations`."""
        return self.scenario.correlations()

    @property
    def noise_sizes(self) -> Mapping[str, Quantity]:
        """See `gatesim.studies.model.Noisy.noise_sizes`."""
        sensors = enumerate(self.scenario.sensors, start=1)
        return {f"{JITTER}@{gate}": sensor.jitter for gate, sensor in sensors}

    @cached_property
    def identity(self) -> str:
        """Digest of the scenario as it was read."""
        text = json.dumps(self.scenario.raw, sort_keys=True, default=str)
        return blake2b(text.encode(), digest_size=16).hexdigest()

    def evaluate(self, values: Mapping[str, Scalar], draw: Draw, *, quantised: bool = True) -> Trials:
        """Run the pipeline. See `gatesim.studies.model.Model.evaluate`."""
        case = self.case(values, draw, quantised=quantised)
        return Trials.of(
            pipeline.run(
                case.scenario, draw, case.values, quantised=quantised, ends=case.ends,
                move=self.surface or self.move, controller=case.controller,
            )
        )  # fmt: skip

    def case(self, values: Mapping[str, Scalar], draw: Draw, *, quantised: bool = True) -> Case:
        """See `gatesim.studies.model.OfARig.case`."""
        scenario = self.scenario if quantised else self._smooth
        return Case(
            scenario, draw, values, quantised, ends=False, controller=self.controller, surface=self.surface
        )

    @cached_property
    def _smooth(self) -> Scenario:
        return at_mean_delay(self.scenario, self.sampling)

    @property
    def sampling_stages(self) -> tuple[str, ...]:
        """See `gatesim.studies.model.Sampled.sampling_stages`."""
        return tuple(sampling_periods(self.scenario))

    def sampling_in(self, stages: Collection[str]) -> Self:
        """See `gatesim.studies.model.Sampled.sampling_in`."""
        return replace(self, sampling=frozenset(stages))

    def prepared(self, trials: int, calibration: Calibration | None) -> Self:
        """See `gatesim.studies.model.Prepared.prepared`."""
        moves = self.scenario.counter.source.turned_by  # an encoder asks where the part is at any time
        if moves or self.surface is not None or self.move is not once:
            return self
        known = np.zeros(0) if calibration is None else self.reference_lengths(calibration.parts)
        return replace(self, surface=surface_for(self, trials, known))

    def reference_lengths(self, count: int) -> Array:
        """See `gatesim.studies.model.Calibrated.reference_lengths`."""
        return reference_lengths(self.scenario, count)

    def with_references(
        self, values: Mapping[str, Scalar], lengths: Array, trials: int
    ) -> Mapping[str, Scalar]:
        """See `gatesim.studies.model.Calibrated.with_references`."""
        return with_references(self.scenario, values, lengths, trials)

    def at_lengths(self) -> Mapping[float, "RigModel"]:
        """The rig with parts of each length (m) that a requirement for a range of them names; or nothing."""
        lengths = self.scenario.judged_lengths
        if len(lengths) == 1:
            return {}
        return {length: AtLength(self.scenario, length, controller=self.controller) for length in lengths}

    def choose_formula(self, name: str | None) -> str:
        """The formula of that name; without one the formula in charge. Raises InputError."""
        names = list(self.evaluate({}, Nominal(1)).readings)
        if name is None:
            return names[0]
        if name not in names:
            raise InputError(f"--formula: given {name!r}, expected one of {', '.join(names)}")
        return name

    def with_values(self, units: Mapping[str, str], values: Mapping[str, float]) -> "RigModel":
        """The rig with quantities replaced (path -> number in ``units``); spreads are kept about them.

        Raises InputError for a path or a value that the scenario cannot have.
        """
        scenario = self.scenario
        for path, value in values.items():
            unit = units.get(path, "")
            plain: float | int = int(value) if value.is_integer() else value
            scenario = changed(scenario, path, f"{value!r} {unit}" if unit else plain)
        return RigModel(scenario)


@dataclass(frozen=True)
class AtLength(RigModel):
    """The rig with parts of another length (m): the controller's constants stay, the mass goes along."""

    length: float

    @cached_property
    def inputs(self) -> Mapping[str, Quantity]:
        """See `RigModel.inputs`."""
        known = {"part.length": self.length}
        if self.scenario.part.mass is not None:
            known["part.mass"] = self.scenario.part.mass.nominal * self._ratio
        return {name: replace(q, nominal=known.get(name, q.nominal)) for name, q in super().inputs.items()}

    @property
    def _ratio(self) -> float:
        return self.length / self.scenario.part.length.nominal

    def _own(self, values: Mapping[str, Scalar]) -> dict[str, Scalar]:
        own: dict[str, Scalar] = {"part.length": self.length}
        if self.scenario.part.mass is not None:
            own["part.mass"] = self.scenario.part.mass.nominal * self._ratio
        return {**own, **values}

    @cached_property
    def identity(self) -> str:
        """See `RigModel.identity`."""
        return f"{super().identity} {self.length!r}"

    def case(self, values: Mapping[str, Scalar], draw: Draw, *, quantised: bool = True) -> Case:
        """See `RigModel.case`."""
        return super().case(self._own(values), draw, quantised=quantised)

    def with_references(
        self, values: Mapping[str, Scalar], lengths: Array, trials: int
    ) -> Mapping[str, Scalar]:
        """See `RigModel.with_references`."""
        found = dict(super().with_references(self._own(values), lengths, trials))
        if "part.mass" in found:  # that of a reference part is in proportion to its own length
            mass = np.array(found["part.mass"])
            mass[mass.size - lengths.size :] /= self._ratio
            found["part.mass"] = mass
        return found


def parse_axis(text: str) -> SweptQuantity:
    """Read ``gate.spacing=20mm:200mm:30`` or ``counter.frequency=1kHz:1MHz:7:log``.

    The values of the axis are in the unit of the first one. Raises InputError.
    """
    path, equals, grid = text.partition("=")
    parts = [part.strip() for part in grid.split(":")]
    expected = "PATH=LOW:HIGH:POINTS or PATH=LOW:HIGH:POINTS:log, such as gate.spacing=20mm:200mm:30"
    if not equals or len(parts) not in (3, 4) or parts[3:] not in ([], ["log"]):
        raise InputError(f"--vary: given {text!r}, expected {expected}")
    try:
        unit = _unit(parts[0])
        low, high = _value(parts[0], unit), _value(parts[1], unit)
        count = int(parts[2])
    except ValueError as error:
        raise InputError(f"--vary: given {text!r} ({error}), expected {expected}") from None
    if count > 100_000:
        raise InputError(f"--vary: given {count} points, expected at most 100,000")
    return SweptQuantity(
        path.strip(), grid_values(low, high, count, parts[3:] == ["log"]), unit, parts[3:] == ["log"]
    )


def _unit(text: str) -> str:
    """Unit that follows the number of a text such as ``20mm``."""
    return text.lstrip("+-0123456789.").removeprefix("e").lstrip("+-0123456789").strip()


def _value(text: str, unit: str) -> float:
    return parse(text, unit)[0] if unit else float(text)
