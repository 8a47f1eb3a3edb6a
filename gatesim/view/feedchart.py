"""Chart of a feed study: what becomes of the parts against the rate."""

import math
from textwrap import fill
from typing import TYPE_CHECKING

from gatesim.studies.feed.fate import Fate
from gatesim.studies.feed.feed import FeedResult
from gatesim.view.style import BLACK, BLUE, GREEN, GREY, ORANGE, SKY, VERMILION, log_ticks, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MINUTE = 60.0

_STYLE = {
    Fate.CORRECT: (BLUE, "-", "o"),
    Fate.MERGED: (ORANGE, "--", "s"),
    Fate.SPLIT: (GREEN, ":", "^"),
    Fate.MISSED: (VERMILION, "-.", "D"),
    Fate.MIXED: (GREY, (0, (1, 1)), "v"),
}


def feed_chart(result: FeedResult, axes: "Axes | None" = None) -> "Axes":
    """Draw the shares of all fates that occur, the wanted yield, and the limit with its interval."""
    axes = axes or new_axes(7.4, 4.8)
    rates = [MINUTE * point.rate for point in result.points]
    ends = [[100.0 * end for end in point.correct_interval] for point in result.points]
    axes.fill_between(
        rates, [low for low, _ in ends], [high for _, high in ends], color=SKY, alpha=0.35, linewidth=0.0
    )
    for fate, (color, dash, marker) in _STYLE.items():
        shares = [100.0 * float(point.shares[fate]) for point in result.points]
        if any(shares):
            axes.plot(
                rates, shares, color=color, linestyle=dash, marker=marker, markersize=4, label=fate.word
            )
    wanted = 100.0 * result.feeding.least_yield
    axes.axhline(wanted, color=BLACK, linewidth=0.8, linestyle=(0, (5, 3)), label=f"wanted: {wanted:g} %")
    low, high = min(rates), max(rates)
    room = (high / low) ** 0.04
    log_ticks(axes.xaxis, low / room, high * room)
    axes.set_xlim(low / room, high * room)
    if math.isfinite(result.limit):
        _limit(result, axes)
    axes.set_xlabel("parts a minute")
    axes.set_ylabel("share of parts / %")
    axes.set_ylim(-2.0, 102.0)
    title = result.scenario.title or "Feed"
    axes.set_title(fill(f"{title}: {result.feeding.spacing.pattern} gaps", 80), fontsize="medium")
    axes.grid(alpha=0.3, linewidth=0.6)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=4, frameon=False, fontsize="small")
    return axes


def _limit(result: FeedResult, axes: "Axes") -> None:
    """A line at the limit, a band for its interval, and who sets it."""
    limit = MINUTE * result.limit
    low, high = (MINUTE * end for end in (result.limit_low, result.limit_high))
    if math.isfinite(low) and math.isfinite(high):
        axes.axvspan(low, high, color=GREY, alpha=0.25, linewidth=0.0)
    axes.axvline(limit, color=BLACK, linewidth=1.0)
    left = limit < math.prod(axes.get_xlim()) ** 0.5  # of the middle: the text goes where there is room
    end = high if left else low
    axes.annotate(
        f"{limit:.4g} a minute,\nlimited by the {result.limited_by}",
        (end if math.isfinite(end) else limit, 50.0),
        xytext=(8 if left else -8, 0),
        textcoords="offset points",
        ha="left" if left else "right",
        va="center",
        fontsize="small",
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.8},
    )
