"""A feed study as text for a terminal; rates in parts a minute."""

import math
import textwrap
from collections.abc import Sequence

from tabulate import tabulate

from gatesim.studies.feed.fate import Fate
from gatesim.studies.feed.feed import FeedResult
from gatesim.studies.feed.process import STAGES
from gatesim.view.number import percent, plain

MINUTE = 60.0

_ADVICE = {
    "beam": "the parts themselves run together in it, so that only a slower or more even feed helps",
    "sensor": "the sensor does not see the gaps: a faster sensor helps",
    "input filter": "the input filter swallows gaps or parts: a shorter filter time helps",
    "re-arming": "the counter is not re-armed in time: a re-arming gate closer to the first helps",
    "debouncing": "chatter or openings come through the input filter: a longer filter time helps",
    "motion": "parts do not reach the gates: look at the rig with predict and study",
}


def feed_text(result: FeedResult, beside: Sequence[tuple[str, float, float, float]] = ()) -> str:
    """Shares against rate, then the highest rate and what limits it.

    ``beside``: pattern of gaps, highest rate and the ends of its confidence interval (1/s).
    """
    feeding = result.feeding
    head = ["parts/min", *(fate.word for fate in Fate), "95 % conf. from", "to", "most lost to"]
    rows = [
        [
            plain(MINUTE * point.rate, 4),
            *(percent(float(share)) for share in point.shares),
            *(percent(end) for end in point.correct_interval),
            point.lost_to or "-",
        ]
        for point in result.points
    ]
    spacing = feeding.spacing
    scatter = f", standard deviation {percent(spacing.scatter)} of the mean" if spacing.scatter else ""
    counted = int(result.points[0].fates.sum())
    lines = [
        result.scenario.title or result.scenario.file,
        f"{counted:,} parts a rate in {feeding.streams:,} independent streams, {spacing.pattern} gaps"
        f"{scatter}, seed {feeding.seed}",
        f"A nominal part keeps the counter busy for {result.busy_time:.4g} s, so that equal parts at equal "
        f"gaps can come up to {MINUTE / result.busy_time:.4g} a minute.",
        "",
        tabulate(rows, head, disable_numparse=True, stralign="right"),
        *(f"{fate.word}: {fate.meaning}" for fate in Fate),
        "",
        *textwrap.wrap(_verdict(result), 100),
        *_beside(beside),
        "Parts do not push each other: one that catches up is taken to overlap with the one in front.",
    ]
    return "\n".join(lines)


def _verdict(result: FeedResult) -> str:
    wanted = percent(result.feeding.least_yield)
    by, assumed = result.limited_by, result.feeding.spacing.words
    helps = result.scenario.counter.timing.against_loss if by == STAGES[-1] else _ADVICE.get(by)
    blamed = f" What limits it is the {by}: {helps}." if by else ""
    if math.isnan(result.limit):
        return f"A yield of {wanted} is not reached at any rate looked at, at {assumed}.{blamed}"
    if math.isinf(result.limit):
        return f"A yield of {wanted} is still reached at the highest rate looked at, at {assumed}."
    return (
        f"Highest rate with a yield of at least {wanted}, at {assumed}: {_rate(result.limit)} parts a minute "
        f"(95 % confidence {_rate(result.limit_low)} to {_rate(result.limit_high)}).{blamed}"
    )


def _beside(found: Sequence[tuple[str, float, float, float]]) -> list[str]:
    if not found:
        return []
    rows = [[_EVEN.get(gaps, gaps), *map(_rate, rates)] for gaps, *rates in found]
    head = ["gaps", "highest rate / min", "95 % conf. from", "to"]
    return ["", tabulate(rows, head, disable_numparse=True, colalign=("left", "right", "right", "right")), ""]


_EVEN = {"fixed": "even (fixed)", "exponential": "random (exponential)"}


def _rate(value: float) -> str:
    if math.isnan(value):
        return "below the lowest rate"
    return "above the highest rate" if math.isinf(value) else plain(MINUTE * value, 4)
