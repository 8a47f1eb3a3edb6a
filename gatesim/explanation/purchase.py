"""Parts that can be bought for a rig whose reading is off."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

from gatesim.counter import SOURCES, TIMINGS
from gatesim.explanation.change import LINE_IN_CHARGE, Effort, Present, Proposal
from gatesim.formula import suited
from gatesim.ground.quantity import parse
from gatesim.motion import FORCES, ForceTable
from gatesim.motion.force.base import Situation
from gatesim.scenario.sensing import GATES

FASTER = 10.0


def _force(force: type[ForceTable], p: Present) -> Iterator[Proposal]:
    """A force that the rig has not, or more of one that it has."""
    have = next((table for table in p.scenario.forces if table.key == force.key), None)
    suggestion = force.suggested(_situation(p)) if have is None else have.stronger()
    if suggestion is not None:
        yield p.suggested(Effort.BUY, suggestion)


def _situation(p: Present) -> Situation:
    part, path, gate = p.scenario.part, p.scenario.path, p.scenario.gate
    first = gate.first.nominal
    return Situation(
        length=p.length,
        mass=part.nominal_mass,
        inertia_factor=part.inertia_factor.nominal,
        slope=path.slope.nominal,
        friction=path.friction.nominal,
        gravity=path.gravity.nominal,
        first=first,
        last=first + max(gate.spacing.nominal, 0.0 if gate.rearm is None else gate.rearm.nominal),
        speed=p.speed,
        without_devices=all(force.drawn() is None for force in p.scenario.forces),
    )


def _source(p: Present) -> Iterator[Proposal]:
    """Something else to count."""
    source, belt = p.scenario.counter.source, p.scenario.carried
    for member in SOURCES:
        suggestion = None if isinstance(source, member) else member.suggested(belt=belt)
        if suggestion is not None:
            drop = (*suggestion.drop, *LINE_IN_CHARGE)  # it was taken from the readings of another formula
            yield p.suggested(Effort.BUY, replace(suggestion, drop=drop), formula=suited(travel=True)[0])


def _sensor(p: Present) -> Iterator[Proposal]:
    raw = p.scenario.raw.get("sensor", {})
    tables = {"sensor": raw, **{f"sensor.{gate}": raw[gate] for gate in GATES if gate in raw}}
    slow = {
        f"{where}.{key}": given
        for where, table in tables.items()
        for key in ("dark_delay", "light_delay", "time_constant")
        if (given := table.get(key)) is not None and _lasts(given)
    }
    if slow:
        changes = {path: _faster(given) for path, given in slow.items()}
        keys = dict.fromkeys(path.rpartition(".")[2] for path in slow)
        how = f"{', '.join(key.replace('_', ' ') for key in keys)} and their spreads a tenth of what they are"
        yield p.proposal(Effort.BUY, "sensors ten times as fast", how, changes)


def _lasts(given: Any) -> bool:
    """Whether a time as a scenario has it is above 0."""
    return bool(parse(given["value"] if isinstance(given, Mapping) else given, "s")[0] > 0.0)


def _faster(given: Any) -> Any:
    """A time as a scenario has it, with its spread: a delay cannot scatter about as much as it lasts."""
    if not isinstance(given, Mapping):
        return f"{parse(given, 's')[0] / FASTER!r} s"
    times = ("value", "half_width", "standard_uncertainty")
    return {key: _faster(text) if key in times else text for key, text in given.items()}


def _beam(p: Present) -> Iterator[Proposal]:
    suggestion = p.scenario.sensor.beam.narrower()
    if suggestion is not None:
        yield p.suggested(Effort.BUY, suggestion)


def _better_source(p: Present) -> Iterator[Proposal]:
    suggestion = p.scenario.counter.source.improved()
    if suggestion is not None:
        yield p.suggested(Effort.BUY, suggestion)


def _timing(p: Present) -> Iterator[Proposal]:
    timing = p.scenario.counter.timing
    for member in TIMINGS.members:
        suggestion = None if isinstance(timing, member) else member.suggested(timing.kind)
        if suggestion is not None:
            yield p.suggested(Effort.BUY, suggestion)


PURCHASES: tuple[Callable[[Present], Iterator[Proposal]], ...] = (
    *(partial(_force, force) for force in FORCES),
    _source,
    _sensor,
    _beam,
    _better_source,
    _timing,
)
