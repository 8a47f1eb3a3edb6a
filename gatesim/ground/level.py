"""How often a value is drawn: once a rig, once a part, or once a passage.

The conditions of JCGM 200:2012 (VIM) and ISO 5725-1 follow from it: what is new with every
passage makes the repeatability (same part, same rig; VIM 2.21), what is new with every part or
every rig the differences from part to part and from rig to rig.
"""

from typing import Literal, get_args

Level = Literal["rig", "part", "passage"]

LEVELS: tuple[Level, ...] = get_args(Level)
