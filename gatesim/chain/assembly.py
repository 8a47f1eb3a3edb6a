"""From a scenario and one value for each quantity to the frozen parts that the stages take."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from gatesim.counter import Counter
from gatesim.counter.source import Travel
from gatesim.ground.arrays import Scalar
from gatesim.ground.errors import InputError
from gatesim.ground.table import Misfit, TableValues
from gatesim.inputfilter import Filter
from gatesim.motion import Belt, Force, Path
from gatesim.part import Part
from gatesim.scenario.model import Scenario
from gatesim.sensor import Chatter, Response, Sensor

Values = Mapping[str, Scalar]


def path_of(values: Values) -> Path:
    """The path, its friction and the local gravity."""
    path = TableValues(values, "path")
    same = path.all("slope", "friction", "gravity", "release_speed")
    return Path(**same, static_friction=path.get("static_friction"))


def gates_of(values: Values) -> tuple[Scalar, ...]:
    """Distance from the leading end at release to each gate in m."""
    gate = TableValues(values, "gate")
    rearm = gate.get("rearm")
    later = [gate["spacing"]] if rearm is None else [gate["spacing"], rearm]
    return (gate["first"], *(gate["first"] + distance for distance in later))


def forces_of(scenario: Scenario, values: Values, part: Any, path: Path) -> tuple[Force | Belt, ...]:
    """What acts on the part beside gravity and the path's friction. Raises InputError."""
    try:
        stated = scenario.quantities()
        of = {table.key: TableValues(values, table.key, quantities=stated) for table in scenario.forces}
        return tuple(table.build(of[table.key], part, path) for table in scenario.forces)
    except Misfit as misfit:
        raise InputError(f"{scenario.file}: {misfit.sentence}") from None


def part_of(scenario: Scenario, values: Values) -> Part:
    """The part with its nominal outline; what differs of that from trial to trial is for the sensors."""
    part = TableValues(values, "part")
    return replace(
        scenario.part.outline(),
        length=part["length"],
        mass=_mass(part),
        inertia_factor=part["inertia_factor"],
        tilt=part["tilt"],
    )


def _mass(part: TableValues) -> Scalar:
    """In kg; 1 kg where nothing that acts on the part asks for it."""
    per_length = part.get("mass_per_length")
    mass: Scalar = part.get("mass", 1.0) if per_length is None else per_length * part["length"]
    return mass


def sensor_of(scenario: Scenario, values: Values, gate: int) -> Sensor:
    """The light gate number ``gate``, with deviations of its own."""
    section, of = scenario.sensors[gate - 1], TableValues(values, "sensor", f"@{gate}")
    chatter = None
    if section.chatter is not None:
        chatter = Chatter(of["chatter.mean_pulses"], of["chatter.mean_spacing"])
    response = Response(
        **of.all("dark_delay", "light_delay", "jitter", "time_constant"),
        sampling_period=of.get("sampling_period", 0.0),
        samples_in_row=section.samples_in_row,
        chatter=chatter,
    )
    beam, shares = section.beam.build(), of.all("dark_fraction", "light_fraction")
    return Sensor(beam, **shares, response=response, angle=of["angle"])


def filter_of(scenario: Scenario, values: Values) -> Filter:
    """The input filter."""
    return scenario.filter.build(TableValues(values, "filter"))


def counter_of(scenario: Scenario, values: Values, travel: Travel, *, quantised: bool) -> Counter:
    """The counter; ``travel`` is how far what turns a measuring roller has moved at a time."""
    table, pulse_filter = scenario.counter, filter_of(scenario, values)
    return table.build(TableValues(values, "counter"), travel, pulse_filter, quantised=quantised)
