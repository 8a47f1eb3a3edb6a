"""What is estimated: the unknowns, and the fixed quantities that are known with an uncertainty."""

import difflib
import math
from collections.abc import Sequence
from dataclasses import dataclass

from gatesim.ground.errors import InputError
from gatesim.ground.keys import Reader
from gatesim.ground.quantity import parse
from gatesim.scenario import Scenario

# Differ from part to part or passage to passage in any rig; other spreads are one unknown value.
ALWAYS_VARIES = ("part.tilt",)


@dataclass(frozen=True)
class Parameter:
    """One quantity of the fit, as a deviation from its value in the scenario.

    ``moves`` are the inputs of a trial that it shifts: several for a quantity that all gates
    share. ``prior`` is its standard uncertainty (SI), infinite for an unknown; ``step`` the
    deviation for central differences; ``unit`` and ``factor`` (SI for one unit) are for
    display. A ``trend`` is what its inputs change by in one unit of a row's moment.
    """

    name: str
    moves: tuple[str, ...]
    nominal: float
    prior: float
    step: float
    unit: str
    factor: float
    trend: bool = False

    @property
    def unknown(self) -> bool:
        """Whether nothing is known of it beforehand."""
        return math.isinf(self.prior)

    @property
    def size(self) -> float:
        """What one would call a large change of it: its value, or what it is varied by if that is 0."""
        return abs(self.nominal) if self.nominal else 100.0 * self.step


def si_unit(scenario: Scenario, path: str) -> str:
    """SI unit of the quantity at a dotted path (``@2`` of a gate is ignored)."""
    at: object = scenario
    *tables, key = path.partition("@")[0].split(".")
    for step in tables:
        at = at[int(step) - 1] if isinstance(at, tuple) else getattr(at, step)
    info = type(at).model_fields[key]  # type: ignore[attr-defined]
    return next((item.unit for item in info.metadata if isinstance(item, Reader)), "") or _optional(info)


def _optional(info: object) -> str:
    """Unit of a field that may be left out: its reader sits inside the union."""
    from typing import get_args

    for inner in get_args(info.annotation):  # type: ignore[attr-defined]
        for item in getattr(inner, "__metadata__", ()):
            if isinstance(item, Reader):
                return item.unit
    return ""


def expanded(scenario: Scenario, path: str, option: str) -> tuple[str, ...]:
    """Inputs of a trial that a path names: one, or one a gate. Raises InputError."""
    inputs = scenario.inputs()
    found = (path,) if path in inputs else tuple(n for n in inputs if n.partition("@")[0] == path)
    if path.partition("@")[0] == "part.length":
        raise InputError(
            f"{option}: given part.length, expected another quantity: lengths that the log does not give as "
            "a reference are estimated anyway"
        )
    if found:
        return found
    if path.split(".")[0] in ("formula", "requirement"):
        raise InputError(
            f"{option}: given {path}, expected a quantity of the rig: no count depends on this one"
        )
    near = difflib.get_close_matches(path, [*inputs, *scenario.quantities()], n=1, cutoff=0.4)
    hint = f"; did you mean {near[0]}?" if near else f", such as {next(iter(inputs))}"
    raise InputError(f"{option}: given {path!r}, expected a quantity that {scenario.file} states{hint}")


def varying(scenario: Scenario, given: Sequence[str]) -> tuple[str, ...]:
    """Inputs that are drawn anew in each passage. Raises InputError where one has no spread."""
    inputs = scenario.inputs()
    phases = [f"{force.key}.{key}" for force in scenario.forces for key in force.random_phases()]
    found = [name for name in (*ALWAYS_VARIES, *phases) if name in inputs and inputs[name].spread is not None]
    for path in given:
        names = expanded(scenario, path, "--varies")
        if inputs[names[0]].spread is None:
            raise InputError(
                f"--varies: {path} has no spread in {scenario.file}, expected a table such as "
                f'{{ value = "{inputs[names[0]].text}", distribution = "normal", standard_uncertainty = ...}}'
            )
        found += names
    return tuple(dict.fromkeys(found))


def parameters(scenario: Scenario, unknown: Sequence[str], varies: Sequence[str]) -> tuple[Parameter, ...]:
    """The unknowns in the order given, then every fixed quantity that has a spread. Raises InputError."""
    found = []
    inputs = scenario.inputs()
    taken: dict[str, str] = {}
    for path in unknown:
        names = expanded(scenario, path, "--unknown")
        for name in names:
            if name in taken:
                raise InputError(f"--unknown: given {taken[name]} and {path}, expected each quantity once")
            taken[name] = path
        found.append(_parameter(scenario, path, names, math.inf))
    if not found:
        raise InputError("--unknown: given nothing, expected a quantity to estimate such as path.friction")
    return (*found, *fixed(scenario, [*varies, *(path for path in unknown if path in inputs)]))


def fixed(scenario: Scenario, but: Sequence[str]) -> tuple[Parameter, ...]:
    """Every quantity that has a spread, one value in all rows, ``but`` those named. Raises InputError."""
    found = []
    for name, quantity in scenario.inputs().items():
        if quantity.spread is None or name == "part.length" or name in but:
            continue
        if not math.isfinite(quantity.std):
            raise InputError(f"{scenario.file}: {name}: its spread has no finite standard uncertainty")
        found.append(_parameter(scenario, name, (name,), quantity.std))
    return tuple(found)


def _parameter(scenario: Scenario, path: str, names: tuple[str, ...], prior: float) -> Parameter:
    quantity = scenario.inputs()[names[0]]
    unit = si_unit(scenario, path)
    factor = parse(f"1 {quantity.unit}".strip(), unit)[0] if quantity.unit else 1.0
    # central differences err by the cube of the step; the motion is good to some 1e-11 of a count
    step = max(1e-5 * abs(quantity.nominal), 1e-2 * quantity.std) or 1e-4 * factor
    return Parameter(path, names, quantity.nominal, prior, step, quantity.unit, factor)
