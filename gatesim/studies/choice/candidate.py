"""All rigs that the options and ranges of a file span."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product
from typing import Any

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario, load
from gatesim.scenario.modelpaths import schema_paths
from gatesim.scenario.reader import from_raw
from gatesim.scenario.validated import raw_with
from gatesim.studies.choice.model import Alternative, Choice
from gatesim.studies.choice.shared import rig_key
from gatesim.studies.sweep import SweptQuantity

MOST = 200_000


@dataclass(frozen=True)
class Candidate:
    """One rig: the alternative of each option, the value on each range (in its unit), the cost.

    ``scenario`` has the middle part length; None, with the reason in ``refusal``, where the
    alternatives do not fit together. ``base`` is the scenario it was made from, ``edits`` the
    changes since (path -> value; None leaves the table out).
    """

    number: int
    picks: Mapping[str, str]
    values: Mapping[str, float]
    units: Mapping[str, str]
    cost: float
    base: Scenario
    edits: Mapping[str, Any]
    scenario: Scenario | None
    refusal: str = ""

    @property
    def name(self) -> str:
        """The alternatives and values in words."""
        parts = list(self.picks.values())
        parts += [f"{path} = {value:.6g} {self.units[path]}".strip() for path, value in self.values.items()]
        return ", ".join(parts) or "the base"

    @cached_property
    def rig(self) -> str:
        """Equal for candidates whose scenarios differ in their formula only."""
        assert self.scenario is not None, self.refusal
        return rig_key(self.scenario)


def part_lengths(choice: Choice) -> Array:
    """Part lengths that every candidate is tried with, (k,) m."""
    wanted = choice.wanted
    if wanted.lengths == 1 or wanted.shortest.nominal == wanted.longest.nominal:
        return np.array([wanted.shortest.nominal])
    return np.linspace(wanted.shortest.nominal, wanted.longest.nominal, wanted.lengths)


def candidates(choice: Choice) -> list[Candidate]:
    """Every combination of alternatives and grid values. Raises InputError.

    A path that no scenario has is an error of the file; a combination that does not fit
    together is a candidate that says so.
    """
    total = int(np.prod([len(a) for a in choice.sections.options.values()], initial=1.0))
    total *= int(np.prod([axis.values.size for axis in choice.ranges], initial=1.0))
    if total > MOST:
        raise InputError(f"{choice.file}: it spans {total:,} candidates, expected at most {MOST:,}")
    _check_paths(choice)
    bases: dict[str, Scenario] = {}
    found: list[Candidate] = []
    for picked in product(*(a.items() for a in choice.sections.options.values())):
        picks = dict(zip(choice.sections.options, (name for name, _ in picked), strict=True))
        alternatives = [alternative for _, alternative in picked]
        base = _base(choice, alternatives, bases)
        cost = sum(alternative.cost for alternative in alternatives)
        for values in _grid(choice.ranges):
            edits = _edits(choice, alternatives, base, values)
            units = {axis.path: axis.unit for axis in choice.ranges}
            found.append(_made(Candidate(len(found), picks, values, units, cost, base, edits, None)))
    return found


def moved(candidate: Candidate, values: Mapping[str, float]) -> Candidate:
    """The candidate with other values on its ranges (path -> value in the range's unit)."""
    edits = {**candidate.edits, **{path: _text(v, candidate.units[path]) for path, v in values.items()}}
    return _made(replace(candidate, values={**candidate.values, **values}, edits=edits))


def _made(candidate: Candidate) -> Candidate:
    """The candidate with its scenario, or with the reason why there is none."""
    raw = dict(candidate.base.raw)
    for path, value in candidate.edits.items():
        raw = without(raw, path) if value is None else raw_with(raw, path, value)
    try:
        return replace(candidate, scenario=from_raw(raw, candidate.base.file), refusal="")
    except InputError as error:
        reason = str(error).removeprefix(f"{candidate.base.file}: ")
        path = reason.partition(":")[0]
        if path in candidate.edits and "spread" in reason and not isinstance(candidate.edits[path], dict):
            reason += "; the spread is that of the base: state the value with one of its own"
        return replace(candidate, scenario=None, refusal=f"it does not fit together: {reason}")


def without(raw: Mapping[str, Any], path: str) -> dict[str, Any]:
    """Copy of a scenario's table without the key at ``path``."""
    key, _, rest = path.partition(".")
    copy = dict(raw)
    if not rest:
        copy.pop(key, None)
    elif isinstance(copy.get(key), dict):
        copy[key] = without(copy[key], rest)
    return copy


def _base(choice: Choice, alternatives: list[Alternative], bases: dict[str, Scenario]) -> Scenario:
    named = [a.base for a in alternatives if a.base is not None]
    if len(named) > 1:
        raise InputError(f"{choice.file}: options: two of them name a base, expected at most one")
    given = named[0] if named else choice.sections.base
    if given is None:
        raise InputError(f"{choice.file}: base: given nothing, expected a scenario file or its tables")
    if isinstance(given, dict):
        return from_raw(given, f"{choice.file}: base")
    if given not in bases:
        bases[given] = load(choice.folder / given)
    return bases[given]


def _edits(
    choice: Choice, alternatives: list[Alternative], base: Scenario, values: Mapping[str, float]
) -> dict[str, Any]:
    edits: dict[str, Any] = {}
    for alternative in alternatives:
        edits.update(dict.fromkeys(alternative.without))
        edits.update(alternative.set)
    for axis in choice.ranges:
        edits[axis.path] = _text(values[axis.path], axis.unit)
    # a part cut from the same bar is as much heavier as it is longer
    lengths = part_lengths(choice)
    middle = float(lengths[0] + lengths[-1]) / 2.0
    if base.part.mass is not None and "part.mass" not in edits:
        edits["part.mass"] = f"{base.part.mass.nominal * middle / base.part.length.nominal:.9g} kg"
    edits["part.length"] = f"{1e3 * middle:.9g} mm"
    half = choice.wanted.tolerance.nominal
    edits["requirement"] = {
        "lower_limit": f"{1e3 * (middle - half):.9g} mm",
        "upper_limit": f"{1e3 * (middle + half):.9g} mm",
        **_range(lengths),
    }
    return edits


def _range(lengths: Array) -> dict[str, str]:
    """The lengths that are wanted, as a requirement has them."""
    if lengths.size == 1:
        return {}
    return {"shortest": f"{1e3 * lengths[0]:.9g} mm", "longest": f"{1e3 * lengths[-1]:.9g} mm"}


def _text(value: float, unit: str) -> str | float:
    return f"{value!r} {unit}" if unit else value


def _grid(ranges: tuple[SweptQuantity, ...]) -> Iterator[dict[str, float]]:
    for values in product(*(axis.values.tolist() for axis in ranges)):
        yield {axis.path: value for axis, value in zip(ranges, values, strict=True)}


def _check_paths(choice: Choice) -> None:
    """Raise InputError for a path that no scenario has."""
    import difflib

    known = schema_paths(Scenario)
    given = [(f"ranges.{axis.path}", axis.path) for axis in choice.ranges]
    for option, alternatives in choice.sections.options.items():
        for name, alternative in alternatives.items():
            where = f"options.{option}.{name}"
            given += [(f"{where}.set", path) for path in alternative.set]
            given += [(f"{where}.without", path) for path in alternative.without]
    for where, path in given:
        plain = ".".join(step for step in path.split(".") if not step.isdigit())
        if plain not in known:
            close = difflib.get_close_matches(path, known, n=1, cutoff=0.5)
            hint = f"; the nearest is {close[0]}" if close else ""
            raise InputError(f"{choice.file}: {where}: no scenario has a path {path!r}{hint}")
