"""Chart of a search: cost against RMS error, with the Pareto front."""

from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np

from gatesim.studies.choice.choose import ChoiceResult
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.style import BLACK, BLUE, GREEN, GREY, VERMILION, log_ticks, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def choice_chart(result: ChoiceResult, axes: "Axes | None" = None, unit: LengthUnit = MM) -> "Axes":
    """Draw every simulated candidate, the front of the final round and the winner."""
    axes, scale = axes or new_axes(7.6, 5.0), unit.per_metre
    working = [entry for entry in result.entries if np.isfinite(entry.uncertainty)]
    axes.scatter(
        [entry.candidate.cost for entry in working],
        [scale * entry.uncertainty for entry in working],
        s=14, color=GREY, alpha=0.5, linewidths=0.0, label=f"{len(working):,} candidates simulated",
    )  # fmt: skip
    front = [result.finalists[i] for i in result.front]
    costs = [entry.candidate.cost for entry in front]
    values = [scale * entry.uncertainty for entry in front]
    axes.plot(costs, values, color=BLUE, drawstyle="steps-post", linewidth=1.2)
    axes.plot(costs, values, "o", color=BLUE, markersize=6, label="front: none cheaper has less error")
    limit = result.choice.wanted.rms_error
    if limit is not None:
        axes.axhline(scale * limit.nominal, color=VERMILION, linestyle="--", linewidth=1.2,
                     label=f"wanted: at most {unit.said(limit.text)}")  # fmt: skip
    if result.winner is not None:
        at = (result.winner.candidate.cost, scale * result.winner.uncertainty)
        axes.plot(*at, "D", color=GREEN, markeredgecolor=BLACK, markersize=9, label="winner")
    axes.set_yscale("log")
    log_ticks(axes.yaxis, *axes.get_ylim())
    axes.set_xlabel("cost")
    axes.set_ylabel(f"RMS error at the worst part length / {unit.name}")
    _names(result, axes, scale)
    title = result.choice.sections.title or "Choice of a rig"
    tried = f"{len(result.entries):,} candidates, {len(result.rejected):,} rejected by physics"
    axes.set_title(fill(f"{title}: {tried}", 80), fontsize="medium")
    axes.grid(alpha=0.3, linewidth=0.6)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.13), ncols=2, frameon=False, fontsize="small")
    return axes


def _names(result: ChoiceResult, axes: "Axes", scale: float) -> None:
    """Number the front as the table does, so that long names need no room in the picture."""
    for index in result.front:
        entry = result.finalists[index]
        axes.annotate(
            str(index + 1),
            (entry.candidate.cost, scale * entry.uncertainty),
            xytext=(5, 5),
            textcoords="offset points",
            fontsize="small",
            bbox={"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.7},
        )
