"""Why a reading is off: the split of its error into causes, and what would change it."""

from gatesim.explanation.breakdown import Breakdown, Contribution, breakdown

__all__ = ["Breakdown", "Contribution", "breakdown"]
