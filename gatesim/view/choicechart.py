"""Chart of a search: cost against RMS error, with the Pareto front."""

from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np

from gatesim.studies.choice.choose import ChoiceResult
from gatesim.view.style import BLACK, BLUE, GREEN, GREY, VERMILION, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MM = 1e3


def choice_chart(result: ChoiceResult, axes: "Axes | None" = None) -> "Axes":
    """Draw every simulated candidate, the front of the final round and the winner."""
    axes = axes or new_axes(7.6, 5.0)
    working = [entry for entry in result.entries if np.isfinite(entry.uncertainty)]
    axes.scatter(
        [entry.candidate.cost for entry in working],
        [MM * entry.uncertainty for entry in working],
        s=14, color=GREY, alpha=0.5, linewidths=0.0, label=f"{len(working):,} candidates simulated",
    )  # fmt: skip
    front = [result.finalists[i] for i in result.front]
    costs = [entry.candidate.cost for entry in front]
    values = [MM * entry.uncertainty for entry in front]
    axes.plot(costs, values, color=BLUE, drawstyle="steps-post", linewidth=1.2)
    axes.plot(costs, values, "o", color=BLUE, markersize=6, label="front: none cheaper has less error")
    limit = result.choice.wanted.rms_error
    if limit is not None:
        axes.axhline(MM * limit.nominal, color=VERMILION, linestyle="--", linewidth=1.2,
                     label=f"wanted: at most {limit.text}")  # fmt: skip
    if result.winner is not None:
        at = (result.winner.candidate.cost, MM * result.winner.uncertainty)
        axes.plot(*at, "D", color=GREEN, markeredgecolor=BLACK, markersize=9, label="winner")
    axes.set_yscale("log")
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.yaxis.set_minor_formatter(lambda value, _: "")
    axes.set_xlabel("cost")
    axes.set_ylabel("RMS error at the worst part length / mm")
    _names(result, axes)
    title = result.choice.sections.title or "Choice of a rig"
    tried = f"{len(result.entries):,} candidates, {len(result.rejected):,} rejected by physics"
    axes.set_title(fill(f"{title}: {tried}", 80), fontsize="medium")
    axes.grid(alpha=0.3, linewidth=0.6)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.13), ncols=2, frameon=False, fontsize="small")
    return axes


def _names(result: ChoiceResult, axes: "Axes") -> None:
    """Number the front as the table does, so that long names need no room in the picture."""
    for index in result.front:
        entry = result.finalists[index]
        axes.annotate(
            str(index + 1),
            (entry.candidate.cost, MM * entry.uncertainty),
            xytext=(5, 5),
            textcoords="offset points",
            fontsize="small",
            bbox={"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.7},
        )
