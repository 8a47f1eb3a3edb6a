"""What the tables of a scenario must be to one another. Each check raises Misfit."""

import math
from typing import TYPE_CHECKING

from gatesim.ground.table import Misfit
from gatesim.scenario.fitted import FittedTable
from gatesim.scenario.sensing import GATES

if TYPE_CHECKING:
    from gatesim.scenario.model import Scenario

STEEPEST_BEAM = math.radians(60.0) + 1e-9

_UPRIGHT = math.radians(90.0) - 1e-9


def _check_gates(s: "Scenario") -> None:
    rearm, spacing = s.gate.rearm, s.gate.spacing
    if rearm is not None and rearm.nominal <= spacing.nominal:
        raise Misfit("gate.rearm", rearm.text, f"a distance beyond the second gate, above {spacing.text}")


def _check_part(s: "Scenario") -> None:
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


def _check_rolling(s: "Scenario") -> None:
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


def _check_forces(s: "Scenario") -> None:
    for force in s.forces:
        force.check()
        force.check_part(s.part)


def _check_counter(s: "Scenario") -> None:
    s.counter.check("counter", belt=s.carried)


def _check_filter(s: "Scenario") -> None:
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


def _check_rest(s: "Scenario") -> None:
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


def _check_correlations(s: "Scenario") -> None:
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


CHECKS = (
    _check_gates,
    _check_part,
    _check_rolling,
    _check_forces,
    _check_counter,
    _check_filter,
    _check_rest,
)
