"""Waterfall of an error: how its parts add up."""

from typing import TYPE_CHECKING

from gatesim.explanation.breakdown import Breakdown
from gatesim.view.style import BLACK, BLUE, ORANGE, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MM = 1e3
HEIGHT = 0.62


def waterfall(found: Breakdown, axes: "Axes | None" = None) -> "Axes":
    """Draw the parts of an error as bars that start where the one above ends, the largest first.

    Parts that read short go left (hatched), parts that read long go right; the whisker spans
    what the chance of a phase can make of a part. In mm.
    """
    shares = sorted(found.shares, key=lambda s: -abs(s.error))
    axes = axes or new_axes(7.0, 1.2 + 0.42 * (len(shares) + 1))
    at = 0.0
    for row, share in enumerate(shares):
        short = share.error < 0.0
        axes.barh(
            row,
            MM * share.error,
            HEIGHT,
            left=MM * at,
            color=ORANGE if short else BLUE,
            hatch="///" if short else None,
            edgecolor=BLACK,
            linewidth=0.8,
        )
        if share.low == share.low:
            axes.plot([MM * (at + share.low), MM * (at + share.high)], [row, row], color=BLACK, marker="|")
        axes.plot([MM * (at + share.error)] * 2, [row, row + 1], color=BLACK, linewidth=0.8, linestyle=":")
        at += share.error
    axes.barh(len(shares), MM * found.error, HEIGHT, color="white", edgecolor=BLACK, linewidth=1.4)
    names = [f"{s.name}  {MM * s.error:+.3f}" for s in shares]
    axes.set_yticks(range(len(shares) + 1), [*names, f"reading less true length  {MM * found.error:+.3f}"])
    axes.invert_yaxis()
    axes.axvline(0.0, color=BLACK, linewidth=0.8)
    axes.set_xlabel("error of the reading / mm (left: reads short, right: reads long)")
    axes.set_title(f"{found.formula}: {MM * found.true_length:.3f} mm read as {MM * found.reading:.3f} mm",
                   fontsize="medium")  # fmt: skip
    axes.grid(axis="x", alpha=0.3, linewidth=0.6)
    axes.margins(x=0.08)
    return axes
