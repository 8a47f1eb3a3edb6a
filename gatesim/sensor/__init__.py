"""The light gate: beam, switching thresholds, receiver, response and chatter."""

from gatesim.sensor.beam import BEAMS, WITHOUT_WIDTH, Beam, BeamTable, CircularBeam, PointBeam, SlitBeam
from gatesim.sensor.blocked import blocked_fraction
from gatesim.sensor.chatter import Chatter
from gatesim.sensor.profile import Switching, Variant, blocked_over_travel, runs, switching
from gatesim.sensor.receiver import receiver_delay
from gatesim.sensor.respond import Response, respond
from gatesim.sensor.sensor import Sensor

__all__ = [
    "BEAMS",
    "WITHOUT_WIDTH",
    "Beam",
    "BeamTable",
    "Chatter",
    "CircularBeam",
    "PointBeam",
    "Response",
    "Sensor",
    "SlitBeam",
    "Switching",
    "Variant",
    "blocked_fraction",
    "blocked_over_travel",
    "receiver_delay",
    "respond",
    "runs",
    "switching",
]
