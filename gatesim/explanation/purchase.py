"""Parts that can be bought for a rig whose reading is off."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from gatesim.counter import SOURCES, TIMINGS
from gatesim.explanation.change import LINE_IN_CHARGE, Effort, Present, Proposal, mm
from gatesim.formula import suited
from gatesim.ground.quantity import parse

STRETCH = 0.05  # m, of the spring proposed
SETTLING = 5.0  # lengths v^2/a over which a braked part nears its steady speed
FASTER = 10.0
STRONGER = 1.5


def _brake(p: Present) -> Iterator[Proposal]:
    """Magnets from the release to beyond the gates, whose steady speed is reached well before gate 1."""
    s = p.scenario
    if s.brake is not None or s.belt is not None or s.launch is not None or s.part.mass is None:
        return
    path, first = s.path, s.gate.first.nominal
    slope = path.slope.nominal
    pull = math.sin(slope) - path.friction.nominal * math.cos(slope)
    if pull <= 0.0:  # friction slows the part already
        return
    # from rest v^2 = 2 a x: this steady speed is neared over SETTLING lengths v^2/a before gate 1
    steady, critical = p.speed / (2.0 * SETTLING) ** 0.5, 3.0 * p.speed
    # F = b v / (1 + (v/v_c)^2), the full drag curve by its slope at low speed
    force = s.part.mass.nominal * path.gravity.nominal * pull
    drag = force / steady * (1.0 + (steady / critical) ** 2)
    zone = first + max(s.gate.spacing.nominal, 0.0 if s.gate.rearm is None else s.gate.rearm.nominal)
    table = {
        "start": "0 mm",
        "length": mm(zone + p.length),
        "drag_coefficient": f"{drag:.4g} kg/s",
        "critical_speed": f"{critical:.4g} m/s",
    }
    how = (
        f"{drag:.3g} kg/s from the release to beyond the last gate, for a steady speed of {steady:.2f} m/s; "
        "takes a conducting part"
    )
    yield p.proposal(Effort.BUY, "eddy-current brake along the path", how, {"brake": table})


def _stronger_brake(p: Present) -> Iterator[Proposal]:
    brake = p.scenario.brake
    if brake is None or brake.magnet is not None:
        return
    key = next(k for k in ("peak_force", "drag_coefficient", "terminal_speed") if getattr(brake, k))
    value = getattr(brake, key)
    new = value.nominal * (1.0 / STRONGER if key == "terminal_speed" else STRONGER)
    unit = {"peak_force": "N", "drag_coefficient": "kg/s", "terminal_speed": "m/s"}[key]
    text = f"{new:.6g} {unit}"
    how = f"{key.replace('_', ' ')} {text} instead of {value.text}"
    yield p.proposal(Effort.BUY, "stronger brake", how, {f"brake.{key}": text})


def _launch(p: Present) -> Iterator[Proposal]:
    """A spring on a level rail that gives the part the speed it has at gate 1 now."""
    s = p.scenario
    if s.belt is not None or s.launch is not None or s.brake is not None or s.part.mass is None:
        return
    if s.path.slope.nominal == 0.0:
        return
    # k d^2 = m v^2, and friction over the run-up to gate 1 on top
    friction = s.path.friction.nominal * s.path.gravity.nominal
    first = 2.0 * STRETCH + 0.5 * p.length
    energy = s.part.mass.nominal * (1.0 + s.part.inertia_factor.nominal) * p.speed**2
    stiffness = (energy + 2.0 * s.part.mass.nominal * friction * first) / STRETCH**2
    changes: dict[str, Any] = {
        "path.slope": "0 deg",
        "launch": {"stiffness": f"{stiffness:.4g} N/m", "stretch": mm(STRETCH)},
        "gate.first": mm(first),
    }
    how = f"spring of {stiffness:.3g} N/m drawn back {mm(STRETCH)}, gate 1 at {mm(first)}"
    drop = ("formula.release_distance",)
    yield p.proposal(Effort.BUY, "level rail with a spring launch", how, changes, drop=drop)


def _source(p: Present) -> Iterator[Proposal]:
    """Something else to count."""
    source, belt = p.scenario.counter.source, p.scenario.belt is not None
    for member in SOURCES:
        suggestion = None if isinstance(source, member) else member.suggested(belt=belt)
        if suggestion is not None:
            drop = (*suggestion.drop, *LINE_IN_CHARGE)  # it was taken from the readings of another formula
            yield p.suggested(Effort.BUY, replace(suggestion, drop=drop), formula=suited(travel=True)[0])


def _sensor(p: Present) -> Iterator[Proposal]:
    sensor = p.scenario.sensor
    keys = [k for k in ("dark_delay", "light_delay", "time_constant") if getattr(sensor, k).nominal > 0.0]
    if keys:
        changes = {f"sensor.{key}": _faster(p.scenario.raw["sensor"][key]) for key in keys}
        how = f"{', '.join(key.replace('_', ' ') for key in keys)} and their spreads a tenth of what they are"
        yield p.proposal(Effort.BUY, "sensors ten times as fast", how, changes)


def _faster(given: Any) -> Any:
    """A time as a scenario has it, with its spread: a delay cannot scatter about as much as it lasts."""
    if not isinstance(given, Mapping):
        return f"{parse(given, 's')[0] / FASTER!r} s"
    times = ("value", "half_width", "standard_uncertainty")
    return {key: _faster(text) if key in times else text for key, text in given.items()}


def _beam(p: Present) -> Iterator[Proposal]:
    beam = p.scenario.sensor.beam
    if beam.shape == "point":
        return
    key = "diameter" if beam.shape == "circular" else "width"
    width = getattr(beam, key).nominal
    how = f"{key} {mm(0.5 * width)} instead of {mm(width)}"
    yield p.proposal(Effort.BUY, "beam half as wide", how, {f"sensor.beam.{key}": mm(0.5 * width)})


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


PURCHASES = (_brake, _stronger_brake, _launch, _source, _sensor, _beam, _better_source, _timing)
