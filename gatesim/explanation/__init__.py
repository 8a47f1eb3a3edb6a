"""Why a reading is off: the split of its error into causes, and what would change it."""

from gatesim.explanation.breakdown import Breakdown, Share, breakdown

__all__ = ["Breakdown", "Share", "breakdown"]
