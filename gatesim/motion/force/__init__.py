"""Forces along the path: one file a force."""

from gatesim.motion.force.airdrag import AirDrag
from gatesim.motion.force.base import Force
from gatesim.motion.force.eddybrake import EddyBrake
from gatesim.motion.force.launch import Launch

__all__ = ["AirDrag", "EddyBrake", "Force", "Launch"]
