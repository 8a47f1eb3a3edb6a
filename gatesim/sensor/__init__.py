"""The light gate: beam, switching thresholds, receiver, response and chatter."""

from gatesim.sensor.beam import Beam, blocked_fraction
from gatesim.sensor.chatter import Chatter
from gatesim.sensor.profile import Switching, blocked_over_travel, switching
from gatesim.sensor.receiver import receiver_delay
from gatesim.sensor.respond import Response, respond
from gatesim.sensor.sensor import Sensor

__all__ = [
    "Beam",
    "Chatter",
    "Response",
    "Sensor",
    "Switching",
    "blocked_fraction",
    "blocked_over_travel",
    "receiver_delay",
    "respond",
    "switching",
]
