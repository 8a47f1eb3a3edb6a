"""One light gate."""

from dataclasses import dataclass, field

from gatesim.ground.arrays import Scalar
from gatesim.sensor.beam import Beam, PointBeam
from gatesim.sensor.respond import Response


@dataclass(frozen=True)
class Sensor:
    """Beam, thresholds on its blocked share (``dark_fraction`` >= ``light_fraction``), response.

    The travel between the points at which the two thresholds switch is the differential
    travel of IEC 60947-5-2 (term from memory).
    """

    beam: Beam = field(default_factory=PointBeam)
    dark_fraction: Scalar = 0.5
    light_fraction: Scalar = 0.5
    response: Response = field(default_factory=Response)
    angle: Scalar = 0.0
    """Of the beam off the square across the path, in the plane of both, in rad."""
