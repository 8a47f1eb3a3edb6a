"""What all figures have in common: colours that colour-blind readers and grey printers can tell apart."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gatesim.ground.errors import InputError
from gatesim.ground.files import Target

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import XAxis, YAxis
    from matplotlib.figure import SubFigure
    from matplotlib.gridspec import GridSpecBase
    from numpy.typing import NDArray

# Okabe and Ito's colour-blind safe palette (2008), in the parts used here; lines differ in dash as well
BLUE = "#0072B2"
SKY = "#56B4E9"
ORANGE = "#E69F00"
VERMILION = "#D55E00"
GREEN = "#009E73"
BLACK = "#000000"
GREY = "#7f7f7f"
HEAT_MAP = "cividis"  # rises evenly in lightness, so grey prints read the same


def new_axes(width: float = 7.0, height: float = 4.6) -> "Axes":
    """Axes of a figure of their own (inches), outside pyplot's list of open figures."""
    from matplotlib.figure import Figure  # deferred: costs start-up time

    return Figure(figsize=(width, height), layout="constrained").subplots()


def panel_grid(
    rows: int, columns: int, size: tuple[float, float], place: "Axes | None" = None, **shape: Any
) -> "NDArray[Any]":
    """Array (rows, columns) of Axes: a figure of their own (inches), or where an Axes stood that goes.

    ``shape``: width and height ratios and the like, as GridSpec takes them.
    """
    from matplotlib.figure import Figure  # deferred: costs start-up time

    if place is None:
        figure: Figure | SubFigure = Figure(figsize=size, layout="constrained")
        grid: GridSpecBase = figure.add_gridspec(rows, columns, **shape)
    else:
        figure, spot = place.figure, place.get_subplotspec()
        place.remove()
        if spot is None:
            raise ValueError("axes of a subplot are needed to make place for several panels")
        grid = spot.subgridspec(rows, columns, **shape)
    panels: NDArray[Any] = np.array(
        [[figure.add_subplot(grid[row, column]) for column in range(columns)] for row in range(rows)]
    )
    return panels


MOST_TICKS = 9
"""Labels that a log axis has room for."""


def log_ticks(side: "XAxis | YAxis", low: float, high: float, most: int = MOST_TICKS) -> None:
    """Make a side logarithmic, with plain numbers at so few ticks that no two of them overlap.

    ``most``: how many labels there is room for.
    """
    from matplotlib.ticker import FixedFormatter, FixedLocator, MaxNLocator

    (side.axes.set_xscale if side.axis_name == "x" else side.axes.set_yscale)("log")
    decades = 10.0 ** np.arange(np.floor(np.log10(low)), np.ceil(np.log10(high)) + 1.0)
    for steps in ((1.0, 2.0, 3.0, 5.0), (1.0, 2.0, 5.0), (1.0, 3.0), (1.0,)):
        ticks = np.sort(np.outer(decades, steps).ravel())
        ticks = ticks[(ticks >= low) & (ticks <= high)]
        if ticks.size <= most:
            break
    if ticks.size < 3:
        ticks = np.asarray(MaxNLocator(min(5, most)).tick_values(low, high))
        ticks = ticks[(ticks >= low) & (ticks <= high)]
    ticks = ticks[:: -(-ticks.size // most)]
    side.set_major_locator(FixedLocator(list(ticks)))
    side.set_major_formatter(FixedFormatter([f"{tick:.6g}" for tick in ticks]))
    side.set_minor_formatter(FixedFormatter([]))


def save(axes: "Axes", path: Path) -> None:
    """Save the figure of these axes as the ending of the path says. Raises InputError."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    with Target(path, "figure").writing() as stream:
        try:
            figure.savefig(stream, dpi=150, format=path.suffix[1:].lower())
        except ValueError as error:
            raise InputError(f"{path}: the figure cannot be written ({error})") from None
