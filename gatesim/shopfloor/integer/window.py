"""Acceptance limits in the units that the controller counts in."""

import math
from dataclasses import dataclass

from gatesim.formula.integer.program import DINT, OK
from gatesim.shopfloor.decision import Limits


@dataclass(frozen=True)
class Window:
    """Least and greatest length that is accepted, in units of the result; None where there is no limit."""

    low: int | None
    high: int | None

    def accepts(self, status: int, length: int) -> bool:
        """Whether a result of the function proves conformity."""
        above = self.low is None or length >= self.low
        return status == OK and above and (self.high is None or length <= self.high)


def window(limits: Limits, unit: float) -> Window:
    """The window of these limits, rounded inwards to whole units of ``unit`` m."""
    low = _held(math.ceil(limits.accept_lower / unit)) if math.isfinite(limits.accept_lower) else None
    high = _held(math.floor(limits.accept_upper / unit)) if math.isfinite(limits.accept_upper) else None
    return Window(low, high)


def _held(value: int) -> int:
    """A limit beyond what the result can be is as good as the end of its type."""
    return min(max(value, DINT.low), DINT.high)
