"""Set-ups side by side in one picture: a column each, rows that share their scales."""

from collections.abc import Sequence
from string import ascii_uppercase
from textwrap import fill, shorten
from typing import TYPE_CHECKING, Any

from numpy.typing import NDArray

from gatesim.view.comparedspread import spread_panels
from gatesim.view.intervalchart import interval_panels
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.pathchart import path_panels
from gatesim.view.style import panel_grid

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from gatesim.view.setup import SetUp

COLUMN = 3.3
"""Inches; a panel and the room between two."""
NAMES = 1.3
"""Inches for what stands left of the first column."""


def comparison_chart(
    setups: "Sequence[SetUp]", unit: LengthUnit = MM, place: "Axes | None" = None
) -> NDArray[Any]:
    """Draw speed over path, error by formula, and distribution of the error: Axes (3, set-ups).

    In a figure of its own, or where ``place`` stood.
    """
    formulas = list(dict.fromkeys(name for each in setups for name in each.study.formulas))
    heights = [2.6, 0.9 + 0.42 * len(formulas), 2.4]
    size = (NAMES + COLUMN * len(setups), 1.6 + sum(heights))
    axes = panel_grid(3, len(setups), size, place, height_ratios=heights)
    path_panels(setups, axes[0], unit)
    interval_panels(setups, formulas, axes[1], unit)
    spread_panels(setups, axes[2], unit)
    axes[1, 0].set_title(
        "diamond: the formula compared; bar: 95 % of the errors", fontsize="x-small", loc="left"
    )
    for letter, each, top in zip(ascii_uppercase, setups, axes[0], strict=False):
        top.set_title(_title(f"{letter}  {each.name}"), fontsize="medium", loc="left", pad=18)
    for panel in axes[:, 1:].ravel():
        panel.set_ylabel("")
    for panel in axes[:2, 1:].ravel():  # one scale a row; the shares of the last row have their own
        panel.tick_params(labelleft=False)
    return axes


def _title(text: str) -> str:
    return fill(shorten(text.replace("  ", "\u00a0"), 66, placeholder=" ..."), 36)
