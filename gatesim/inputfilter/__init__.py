"""Input filters (debounce) between sensor and counter; each maps transition lists to transition lists."""

from gatesim.ground.family import Family
from gatesim.inputfilter.base import Filter, FilterTable
from gatesim.inputfilter.holdoff import HoldOff, HoldOffTable
from gatesim.inputfilter.majority import Majority, MajorityTable
from gatesim.inputfilter.nofilter import NoFilter, NoFilterTable
from gatesim.inputfilter.stablefor import StableFor, StableForTable
from gatesim.inputfilter.train import highest_train, share_passed

FILTERS = Family(
    "kind",
    (
        NoFilterTable,
        StableForTable,
        HoldOffTable,
        MajorityTable,
    ),
)
"""All that a scenario may have, a line each."""

UNFILTERED = NoFilterTable(kind="none")
"""What a rig has that says nothing of a filter."""

__all__ = [
    "FILTERS",
    "UNFILTERED",
    "Filter",
    "FilterTable",
    "HoldOff",
    "Majority",
    "NoFilter",
    "StableFor",
    "highest_train",
    "share_passed",
]
