"""What the tables of a scenario must be to one another. Each check raises Misfit."""

import math
from collections.abc import Mapping, Sequence

from gatesim.ground.correlation import Correlation
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Misfit
from gatesim.motion import ForceTable
from gatesim.scenario.counting import RequirementTable
from gatesim.scenario.fitted import FittedTable
from gatesim.scenario.moving import PartTable, PathTable
from gatesim.scenario.sensing import GATES, GateTable, SensorsTable

STEEPEST_BEAM = math.radians(60.0) + 1e-9

_UPRIGHT = math.radians(90.0) - 1e-9


def check_gates(gate: GateTable) -> None:
    """The order of the gates."""
    rearm, spacing = gate.rearm, gate.spacing
    if rearm is not None and rearm.nominal <= spacing.nominal:
        raise Misfit("gate.rearm", rearm.text, f"a distance beyond the second gate, above {spacing.text}")


def check_part(part: PartTable, forces: Sequence[ForceTable]) -> None:
    """What the part needs for what acts on it, and that its ends and openings fit into it."""
    needing = [force.key for force in forces if force.needs_mass]
    if part.mass is not None and part.mass_per_length is not None:
        raise Misfit("part.mass_per_length", part.mass_per_length.text, "nothing beside a mass")
    if needing and part.nominal_mass is None:
        raise Misfit(
            "part.mass", "nothing", f'a mass such as "0.25 kg", since [{needing[0]}] acts on the part'
        )
    length = part.length.nominal
    ends = {key: end.reach for key, end in (("front", part.front), ("rear", part.rear)) if end.needs_height}
    if sum(ends.values()) > length:
        key = "rear" if "rear" in ends else "front"
        raise Misfit(
            f"part.{key}.length", "ends longer than the part", f"at most {part.length.text} for both"
        )
    for key in ends:
        if part.height is None:
            raise Misfit("part.height", "nothing", f'a height such as "20 mm", since part.{key} has a shape')
    reach = ends.get("front", 0.0)
    for number, opening in enumerate(part.openings, start=1):
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
        if opening.height is not None and part.height is None:
            raise Misfit("part.height", "nothing", 'a height such as "20 mm", since an opening has a height')
        opening.check(key)


def check_rolling(part: PartTable, path: PathTable, forces: Sequence[ForceTable]) -> None:
    """Whether the part can roll, where it is said to."""
    factor, grip, friction = part.inertia_factor, path.static_friction, path.friction
    if factor.nominal == 0.0 and factor.spread is None:
        if grip is not None and grip.nominal < friction.nominal:
            expected = f"at least the friction in motion, {friction.text}"
            raise Misfit("path.static_friction", grip.text, expected)
        return
    for force in forces:
        if not force.takes_rolling:
            expected = f"0, since rolling on a [{force.key}] is not modelled"
            raise Misfit("part.inertia_factor", factor.text, expected)
    if abs(path.slope.nominal) > _UPRIGHT:
        expected = f"0, since at {path.slope.text} no force presses the part to the path to make it roll"
        raise Misfit("part.inertia_factor", factor.text, expected)
    need = (factor.nominal * math.tan(abs(path.slope.nominal)) + friction.nominal) / (1 + factor.nominal)
    if grip is not None and grip.nominal < need:
        expected = f"at least {need:.3g}, without which the part does not roll on this slope"
        raise Misfit("path.static_friction", grip.text, f"{expected}; one that slides has inertia_factor 0")


def check_forces(part: PartTable, forces: Sequence[ForceTable]) -> None:
    """Each force by itself, and with the part."""
    for force in forces:
        force.check()
        force.check_part(part)


def check_sensors(sensors: SensorsTable, gate: GateTable) -> None:
    """Thresholds and angles of all sensors."""
    for which in (0, *(number for number, name in enumerate(GATES, 1) if getattr(sensors, name))):
        sensor = sensors if which == 0 else sensors.of(which)
        where = "sensor" if which == 0 else f"sensor.{GATES[which - 1]}"
        dark, light = sensor.dark_fraction, sensor.light_fraction
        for key, share in (("dark_fraction", dark), ("light_fraction", light)):
            if not 0.0 < share.nominal < 1.0:
                raise Misfit(f"{where}.{key}", share.text, "a share between 0 and 1, both excluded")
        if light.nominal > dark.nominal:
            raise Misfit(f"{where}.light_fraction", light.text, f"at most the dark_fraction, {dark.text}")
        if abs(sensor.angle.nominal) > STEEPEST_BEAM:
            raise Misfit(f"{where}.angle", sensor.angle.text, "at most 60 deg either way")
    if sensors.gate3 is not None and gate.rearm is None:
        raise Misfit("sensor.gate3", "a table", 'a third gate: gate.rearm such as "400 mm"')


def check_requirement(requirement: RequirementTable, quantities: Mapping[str, Quantity]) -> None:
    """The order of limits and lengths, none of which spreads, nor does what a controller holds."""
    low, high = requirement.lower_limit, requirement.upper_limit
    if low is not None and high is not None and low.nominal >= high.nominal:
        raise Misfit("requirement.lower_limit", low.text, f"a length below upper_limit, {high.text}")
    short, long = requirement.shortest, requirement.longest
    if short is not None and long is not None and short.nominal >= long.nominal:
        raise Misfit("requirement.shortest", short.text, f"a length below longest, {long.text}")
    for key, quantity in quantities.items():
        if quantity.spread is not None and key.split(".")[0] in ("formula", "requirement"):
            raise Misfit(key, "a spread", "a plain value, since a controller's constant or a limit has none")


def check_correlations(correlations: Sequence[Correlation], stated: int) -> None:
    """No quantity in two of them. ``stated``: how many the file states itself; the rest is of a fit."""
    seen: dict[str, int] = {}
    for number, correlation in enumerate(correlations, start=1):
        for name in correlation.names:
            if name in seen:
                other = f"correlation.{seen[name]}"
                where = "fitted.covariance" if number > stated else f"correlation.{number}"
                raise Misfit(where, f"{name}, which {other} has too", "each quantity in one table only")
            seen[name] = number


def check_fitted(fitted: FittedTable) -> None:
    """That estimates and covariance belong to the quantities."""
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
