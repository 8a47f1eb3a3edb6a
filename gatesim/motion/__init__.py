"""The equation of motion and what moves a part."""

from gatesim.motion.belt.belt import Belt
from gatesim.motion.force.airdrag import AirDrag
from gatesim.motion.force.base import Force, ForceTable, Hold
from gatesim.motion.force.eddybrake import EddyBrake
from gatesim.motion.force.launch import Launch
from gatesim.motion.passage import Passage, belt_among, passage
from gatesim.motion.path import STANDARD_GRAVITY, Body, Path
from gatesim.motion.registry import FORCES

__all__ = [
    "FORCES",
    "STANDARD_GRAVITY",
    "AirDrag",
    "Belt",
    "Body",
    "EddyBrake",
    "Force",
    "ForceTable",
    "Hold",
    "Launch",
    "Passage",
    "Path",
    "belt_among",
    "passage",
]
