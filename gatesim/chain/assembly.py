"""From a scenario and one value for each quantity to the frozen parts that the stages take."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from gatesim.counter import Counter
from gatesim.counter.source import Travel
from gatesim.ground.arrays import Scalar, plain
from gatesim.ground.errors import InputError
from gatesim.ground.table import TableValues
from gatesim.inputfilter import Filter
from gatesim.motion import AirDrag, Belt, EddyBrake, Force, Launch, Path
from gatesim.part import End, Opening, Part
from gatesim.scenario.model import Scenario
from gatesim.scenario.moving import BrakeTable, Magnet, ShapedEnd, SquareEnd
from gatesim.scenario.sensing import CircularBeam, PointBeam, SlitBeam
from gatesim.sensor import Beam, Chatter, Response, Sensor

Values = Mapping[str, Scalar]


def path_of(values: Values) -> Path:
    """The path, its friction and the local gravity."""
    return Path(**TableValues(values, "path").all("slope", "friction", "gravity", "release_speed"))


def gates_of(values: Values) -> tuple[Scalar, ...]:
    """Distance from the leading end at release to each gate in m."""
    gate = TableValues(values, "gate")
    rearm = gate.get("rearm")
    later = [gate["spacing"]] if rearm is None else [gate["spacing"], rearm]
    return (gate["first"], *(gate["first"] + distance for distance in later))


def forces_of(scenario: Scenario, values: Values, part: Any, path: Path) -> tuple[Force | Belt, ...]:
    """What acts on the part beside gravity and the path's friction."""
    forces: list[Force | Belt] = []
    if scenario.air is not None:
        air = TableValues(values, "air")
        forces.append(AirDrag(**air.all("drag_coefficient", "frontal_area", "density")))
    if scenario.launch is not None:
        launch = TableValues(values, "launch")
        forces.append(Launch(**launch.all("stiffness", "stretch", "carrier_mass")))
    if scenario.brake is not None:
        forces.append(_brake(scenario.brake, TableValues(values, "brake"), part, path, scenario.file))
    if scenario.belt is not None:
        belt = TableValues(values, "belt")
        same = ("speed", "friction", "start", "ripple", "ripple_frequency", "ripple_phase")
        start_speed = np.where(np.asarray(belt["ramp_time"]) > 0.0, 0.0, belt["speed"])
        forces.append(Belt(**belt.all(*same), ramp=belt["ramp_time"], start_speed=plain(start_speed)))
    return tuple(forces)


def _brake(section: BrakeTable, brake: TableValues, part: Any, path: Path, file: str) -> EddyBrake:
    """The brake from whichever of its strengths the scenario gives."""
    linear = section.law == "linear"
    start, length = brake["start"], brake["length"]
    if section.peak_force is not None:
        return EddyBrake(start, length, brake["peak_force"], brake["critical_speed"], linear)
    if section.terminal_speed is not None:
        slope = brake.get("terminal_slope", path.slope)
        measured_on = Path(slope, path.friction, path.gravity)
        critical = np.inf if linear else brake["critical_speed"]
        speed = brake["terminal_speed"]
        try:
            return EddyBrake.from_terminal_speed(start, length, speed, part, measured_on, critical)
        except ValueError as problem:
            given = f"brake.terminal_speed: given {section.terminal_speed.text} ({problem})"
            raise InputError(f"{file}: {given}, expected a slope on which the part slides") from None
    if section.magnet is not None:
        coefficient, critical = _magnet(section.magnet, TableValues(brake.values, "brake.magnet"))
    else:
        # the linear law needs no critical speed: any finite scale gives the same force
        coefficient, critical = brake["drag_coefficient"], brake.get("critical_speed", 1.0)
    return EddyBrake.from_coefficient(start, length, coefficient, critical, linear)


def _magnet(section: Magnet, magnet: TableValues) -> tuple[Scalar, Scalar]:
    """Low-speed coefficient and critical speed.

    The field integral is taken once for unit remanence and conductivity, of which the
    coefficient is the square and the first power.
    """
    from gatesim.motion.force.magnet import sheet_coefficient, sheet_critical_speed, tube_coefficient

    if section.geometry == "block-over-sheet":
        size = (section.length.nominal, section.width.nominal, section.height.nominal)
        thickness = section.sheet_thickness.nominal
        unit = sheet_coefficient(1.0, size, section.gap.nominal, thickness, 1.0)
    else:
        inner, outer = section.tube_inner_radius.nominal, section.tube_outer_radius.nominal
        thickness = outer - inner
        unit = tube_coefficient(1.0, section.radius.nominal, section.height.nominal, inner, outer, 1.0)
    conductivity = magnet["conductivity"]
    critical = sheet_critical_speed(thickness, 1.0) / conductivity
    return unit * magnet["remanence"] ** 2 * conductivity, critical


def part_of(scenario: Scenario, values: Values) -> Part:
    """The part with its silhouette, whose shape is the same in every trial."""
    section, part = scenario.part, TableValues(values, "part")
    height = np.inf if section.height is None else section.height.nominal
    return Part(
        length=part["length"],
        mass=part.get("mass", 1.0),
        inertia_factor=part["inertia_factor"],
        height=height,
        front=_end(section.front),
        rear=_end(section.rear),
        openings=tuple(
            Opening(
                opening.kind,
                opening.start.nominal,
                opening.length.nominal,
                np.inf if opening.height is None else opening.height.nominal,
            )
            for opening in section.openings
        ),
        tilt=part["tilt"],
    )


def _end(section: SquareEnd | ShapedEnd) -> End:
    if section.shape == "square":
        return End()
    tip = 0.0 if section.tip_height is None else section.tip_height.nominal
    return End(section.shape, section.length.nominal, tip)


def sensor_of(scenario: Scenario, values: Values, gate: int) -> Sensor:
    """The light gate number ``gate``, with deviations of its own."""
    section, of = scenario.sensor, TableValues(values, "sensor", f"@{gate}")
    chatter = None
    if section.chatter is not None:
        chatter = Chatter(of["chatter.mean_pulses"], of["chatter.mean_spacing"])
    response = Response(
        **of.all("dark_delay", "light_delay", "jitter", "time_constant"),
        sampling_period=of.get("sampling_period", 0.0),
        samples_in_row=section.samples_in_row,
        chatter=chatter,
    )
    return Sensor(_beam(section.beam), of["dark_fraction"], of["light_fraction"], response)


def _beam(section: PointBeam | CircularBeam | SlitBeam) -> Beam:
    if section.shape == "point":
        return Beam()
    if section.shape == "circular":
        return Beam("circular", section.diameter.nominal, section.diameter.nominal, section.offset.nominal)
    return Beam("slit", section.width.nominal, section.height.nominal, section.offset.nominal)


def filter_of(scenario: Scenario, values: Values) -> Filter:
    """The input filter."""
    return scenario.filter.build(TableValues(values, "filter"))


def counter_of(scenario: Scenario, values: Values, travel: Travel, *, quantised: bool) -> Counter:
    """The counter; ``travel`` is how far what turns a measuring roller has moved at a time."""
    table, pulse_filter = scenario.counter, filter_of(scenario, values)
    return table.build(TableValues(values, "counter"), travel, pulse_filter, quantised=quantised)
