"""A belt under the part: slip until it is caught, then carried."""

from gatesim.motion.belt.belt import Belt

__all__ = ["Belt"]
