"""Shapes of the light beam."""

from gatesim.ground.family import Family
from gatesim.sensor.beam.base import Beam, BeamTable
from gatesim.sensor.beam.circular import CircularBeam, CircularBeamTable
from gatesim.sensor.beam.point import PointBeam, PointBeamTable
from gatesim.sensor.beam.slit import SlitBeam, SlitBeamTable

BEAMS = Family(
    "shape",
    (
        PointBeamTable,
        CircularBeamTable,
        SlitBeamTable,
    ),
)
"""All that a scenario may have, a line each."""

WITHOUT_WIDTH = PointBeamTable(shape="point")
"""What a sensor has of which the scenario says nothing: covered or not."""

__all__ = ["BEAMS", "WITHOUT_WIDTH", "Beam", "BeamTable", "CircularBeam", "PointBeam", "SlitBeam"]
