"""A rig as a model that can be studied."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from hashlib import blake2b

from gatesim.chain import pipeline
from gatesim.chain.reference import reference_lengths, with_references
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.correlation import Correlation
from gatesim.ground.draw import Draw, Nominal
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import Quantity, parse
from gatesim.scenario import Scenario
from gatesim.scenario.reader import changed
from gatesim.studies.model import Trials
from gatesim.studies.sweep import Axis, grid_values


@dataclass(frozen=True)
class RigModel:
    """The measurement a scenario describes. See `gatesim.studies.model.Model`."""

    scenario: Scenario

    @cached_property
    def inputs(self) -> Mapping[str, Quantity]:
        """The quantities of the scenario that have a spread."""
        return {name: q for name, q in self.scenario.inputs().items() if q.spread is not None}

    @cached_property
    def correlations(self) -> tuple[Correlation, ...]:
        """See `gatesim.studies.model.Correlated.correlations`."""
        return self.scenario.correlations()

    @cached_property
    def identity(self) -> str:
        """Digest of the scenario as it was read."""
        text = json.dumps(self.scenario.raw, sort_keys=True, default=str)
        return blake2b(text.encode(), digest_size=16).hexdigest()

    def evaluate(self, values: Mapping[str, Scalar], draw: Draw, *, quantised: bool = True) -> Trials:
        """Run the pipeline. See `gatesim.studies.model.Model.evaluate`."""
        found = pipeline.run(self.scenario, draw, values, quantised=quantised, ends=False)
        return Trials(found.readings, found.true_length, found.outcome)

    def reference_lengths(self, count: int) -> Array:
        """See `gatesim.studies.model.Calibrated.reference_lengths`."""
        return reference_lengths(self.scenario, count)

    def with_references(self, values: Mapping[str, Scalar], lengths: Array) -> Mapping[str, Scalar]:
        """See `gatesim.studies.model.Calibrated.with_references`."""
        return with_references(self.scenario, values, lengths)

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


def parse_axis(text: str) -> Axis:
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
    return Axis(path.strip(), grid_values(low, high, count, parts[3:] == ["log"]), unit, parts[3:] == ["log"])


def _unit(text: str) -> str:
    """Unit that follows the number of a text such as ``20mm``."""
    return text.lstrip("+-0123456789.").removeprefix("e").lstrip("+-0123456789").strip()


def _value(text: str, unit: str) -> float:
    return parse(text, unit)[0] if unit else float(text)
