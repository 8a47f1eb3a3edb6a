"""The part: length, mass and silhouette."""

from gatesim.part.part import End, Opening, Part

__all__ = ["End", "Opening", "Part"]
