"""Input filters (debounce) between sensor and counter; each maps transition lists to transition lists."""

from gatesim.inputfilter.base import Filter, NoFilter
from gatesim.inputfilter.holdoff import HoldOff
from gatesim.inputfilter.majority import Majority
from gatesim.inputfilter.stablefor import StableFor
from gatesim.inputfilter.train import highest_train, share_passed

__all__ = ["Filter", "HoldOff", "Majority", "NoFilter", "StableFor", "highest_train", "share_passed"]
