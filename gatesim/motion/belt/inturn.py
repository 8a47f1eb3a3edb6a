"""Slip and stick in turn, event by event, while a rippled belt runs up or forces depend on speed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Flags
from gatesim.motion.belt.slide import Slide
from gatesim.motion.belt.swing import TURN, TURNS, Swing

MOST_IN_TURN = 3_000
"""In one go, before a ripple is refused: a second or two."""


@dataclass
class InTurn:
    """n trials at meetings; all (n,).

    swing: their belts, until the times ``until``. pull: what the belt's friction gives, m/s^2. left: way
    to the end of the span. u, t: way and time now; sign: +1 where the belt pulls on, -1 where it holds
    back; holding: neither. held: (2, n) way and time of the last meeting since which the belt held on.
    points: way, time and speed at the events, (3, n) each, NaN where there was none.
    """

    swing: Swing
    until: Array
    pull: Array
    left: Array
    u: Array
    t: Array
    sign: Array
    holding: Flags
    held: Array
    points: list[Array]

    def run(self) -> None:
        """On to the last event before the end of the span or of the belt's stage.

        Raises ArithmeticError for more events than MOST_IN_TURN.
        """
        rows = np.arange(self.u.size)
        for _ in range(MOST_IN_TURN):
            u, t, held = self.u.copy(), self.t.copy(), self.holding.copy()
            for chosen, way_on in ((held[rows], self._lost), (~held[rows], self._met)):
                some = rows[chosen]
                if some.size:
                    t[some], way = way_on(some)
                    u[some] += way
            with np.errstate(invalid="ignore"):  # no event
                rows = rows[(u[rows] < self.left[rows]) & (t[rows] < self.until[rows])]
            if not rows.size:
                return
            self._arrive(rows, u[rows], t[rows])
        raise ArithmeticError(too_often(MOST_IN_TURN))

    def _some(self, rows: NDArray[np.intp]) -> Swing:
        return self.swing if rows.size == self.u.size else self.swing.take(rows)

    def _lost(self, rows: NDArray[np.intp]) -> tuple[Array, Array]:
        """When these are let go, and the way till then; NaN for never."""
        swing, t = self._some(rows), self.t[rows]
        with np.errstate(divide="ignore"):
            slowest = (swing.w0 + swing.k * t) * (1 - swing.r)
            last = np.minimum(self.until[rows], t + (self.left[rows] - self.u[rows]) / slowest)
        found, _ = swing.lost(t, last, self.pull[rows])
        return found, swing.way(t, found)

    def _met(self, rows: NDArray[np.intp]) -> tuple[Array, Array]:
        """When the belt meets these again, and the way till then; NaN for not within a few turns."""
        swing, t, sign = self._some(rows), self.t[rows], self.sign[rows]
        slide = Slide.of(
            swing.dynamics, sign * self.pull[rows], swing.moving(t)[0], TURNS * TURN / swing.omega
        )
        found = swing.met(t, slide, sign)
        return found, slide.way(found - t)

    def _arrive(self, rows: NDArray[np.intp], u: Array, t: Array) -> None:
        """At an event: what was held slips, what has been met is held if friction suffices."""
        swing = self._some(rows)
        lacking, held = swing.lacking(t)[0], self.holding[rows]
        # what has just lost its grip slips, whatever rounding says
        holding = ~held & (np.abs(lacking) <= self.pull[rows])
        self.u[rows], self.t[rows], self.holding[rows] = u, t, holding
        self.sign[rows] = np.where(holding, self.sign[rows], np.sign(lacking))
        self.held[:, rows] = np.where(holding, (u, t), self.held[:, rows])
        place = np.full((3, self.u.size), np.nan)
        place[:, rows] = u, t, swing.moving(t)[0]
        self.points.append(place)


def too_often(most: int) -> str:
    """Why a ripple is refused that would take more events than that."""
    return (
        f"the part slips and sticks more than {most} times while the belt runs up or other forces "
        "change; lower ripple or ripple_frequency"
    )
