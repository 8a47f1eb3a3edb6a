"""Waterfall of an error: how its parts add up."""

from typing import TYPE_CHECKING

from gatesim.explanation.breakdown import Breakdown
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.style import BLACK, BLUE, ORANGE, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HEIGHT = 0.62


def waterfall(found: Breakdown, axes: "Axes | None" = None, unit: LengthUnit = MM) -> "Axes":
    """Draw the parts of an error as bars that start where the one above ends, the largest first.

    Parts that read short go left (hatched), parts that read long go right; the whisker spans
    what the chance of a phase can make of a part.
    """
    shares = sorted(found.shares, key=lambda s: -abs(s.error))
    axes = axes or new_axes(7.0, 1.2 + 0.42 * (len(shares) + 1))
    at, scale = 0.0, unit.per_metre
    for row, share in enumerate(shares):
        short = share.error < 0.0
        axes.barh(
            row,
            scale * share.error,
            HEIGHT,
            left=scale * at,
            color=ORANGE if short else BLUE,
            hatch="///" if short else None,
            edgecolor=BLACK,
            linewidth=0.8,
        )
        if share.low == share.low:
            axes.plot(
                [scale * (at + share.low), scale * (at + share.high)], [row, row], color=BLACK, marker="|"
            )
        axes.plot([scale * (at + share.error)] * 2, [row, row + 1], color=BLACK, linewidth=0.8, linestyle=":")
        at += share.error
    axes.barh(len(shares), scale * found.error, HEIGHT, color="white", edgecolor=BLACK, linewidth=1.4)
    names = [f"{s.name}  {unit.signed(s.error, 3)}" for s in shares]
    axes.set_yticks(
        range(len(shares) + 1), [*names, f"reading less true length  {unit.signed(found.error, 3)}"]
    )
    axes.invert_yaxis()
    axes.axvline(0.0, color=BLACK, linewidth=0.8)
    axes.set_xlabel(f"error of the reading / {unit.name}\n(left: reads short, right: reads long)")
    length, reading = unit.fixed(found.true_length, 3), unit.fixed(found.reading, 3)
    axes.set_title(f"{found.formula}: {length} {unit.name} read as {reading} {unit.name}",
                   fontsize="medium")  # fmt: skip
    axes.grid(axis="x", alpha=0.3, linewidth=0.6)
    axes.margins(x=0.08)
    axes.locator_params(axis="x", nbins=5)  # the names at the left leave little room
    return axes
