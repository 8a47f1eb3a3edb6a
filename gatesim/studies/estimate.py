"""How long a study will take, judged by what is done of it."""

import math
import time
from dataclasses import dataclass, field

from gatesim.studies.block import Summary
from gatesim.studies.plan import Plan
from gatesim.studies.until import LEAST_SEQUENCES

LONG = 60.0
"""Seconds from which on a study says how long it will take."""

JUDGED_AFTER = 3.0
"""Seconds of work after which that is judged."""


def blocks_wanted(summary: Summary, plan: Plan) -> int:
    """Blocks that the study takes in all, for a target by the present scatter of its averages.

    By JCGM 101, 7.9.4, twice s/sqrt(h) has to come down to the tolerance, h the number of blocks.
    """
    if plan.until is None:
        return plan.blocks
    wanted = float(LEAST_SEQUENCES)
    for formula in summary.formulas.values():
        h, tolerance = formula.scatter.count, plan.until.tolerance(formula.moments.std)
        if h < 2 or not tolerance > 0.0:
            return plan.blocks
        wanted = max(wanted, (2.0 * float(formula.scatter.std[:4].max()) / tolerance) ** 2)
    return min(plan.blocks, math.ceil(wanted))


@dataclass
class Forecast:
    """Says once, in good time, that a study will take long. ``begun`` blocks were done before it."""

    plan: Plan
    begun: int
    start: float = field(default_factory=time.monotonic)
    told: bool = False

    def sentence(self, summary: Summary) -> str:
        """What to tell now, mostly nothing."""
        spent, done = time.monotonic() - self.start, summary.blocks - self.begun
        enough = summary.blocks >= LEAST_SEQUENCES or self.plan.until is None
        if self.told or spent < JUDGED_AFTER or done < 1 or not enough:
            return ""
        self.told = True
        left = spent / done * (blocks_wanted(summary, self.plan) - summary.blocks)
        return (
            f"This takes about {in_words(left)} more; Ctrl-C prints what was reached." if left > LONG else ""
        )


def in_words(seconds: float) -> str:
    """A time to one or two digits: 90 s, 7 min, 3 h."""
    if seconds < 120.0:
        return f"{10.0 * round(seconds / 10.0):.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 7200.0 else f"{seconds / 3600.0:.0f} h"
