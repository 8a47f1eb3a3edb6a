"""The forces that a scenario may have, in the order in which it lists them.

A force is one file with its table (`ForceTable`) and its stage; a new one is added below.
"""

from gatesim.ground.family import check_complete
from gatesim.motion.belt.belt import BeltTable
from gatesim.motion.force.airdrag import AirTable
from gatesim.motion.force.base import ForceTable
from gatesim.motion.force.brake import BrakeTable
from gatesim.motion.force.launch import LaunchTable

FORCES: tuple[type[ForceTable], ...] = (
    AirTable,
    BrakeTable,
    LaunchTable,
    BeltTable,
)

for force in FORCES:
    check_complete(force)
