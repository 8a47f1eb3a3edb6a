"""What depends smoothly on a phase: solved at a few phases, and a trigonometric polynomial in between.

Through evenly spaced phases such a polynomial of an analytic periodic function closes in geometrically
(L. N. Trefethen and J. A. C. Weideman, SIAM Review 56 (2014) 385, from memory). How far it is off is
measured: half-way between two of the phases, where it is off the most, by what is solved there.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Flags
from gatesim.motion import Passage

TURN = 2 * np.pi

NODES = (12, 16, 24, 32)
"""Phases that may be enough."""

OTHERWISE = 64
"""Motions of a part that none of them serves: as many as rates are looked at."""

SURE = 3e-11
"""What a polynomial may be off half-way, relative: far less than the 1e-9 of the equation of motion."""

FEW = 100
"""Trials that tell how many phases are worth it."""

HOPEFUL = 1e-4
"""Off by more than this, more phases would not do either: with twice as many the square is left."""

Rows = NDArray[np.intp]

Solve = Callable[[float, Rows], tuple[Array, Passage]]
"""Times (q, n) at one phase for chosen trials (n,), infinite for what never happens, and their motion."""

Smooth = Callable[[Sequence[Passage], Rows], Flags]
"""Which of the chosen trials (n,), moving so at phases evenly over a turn, have no kink in between."""


@dataclass(frozen=True)
class Harmonics:
    """Times (q, n) of the trials ``rows`` (n,) of many, over a phase.

    coefficients: (k, q, n) of 1, cos, sin, cos of twice the phase and so on, the last one a cosine.
    """

    rows: Rows
    coefficients: Array

    def at(self, phase: Array) -> Array:
        """Times (q, n) at the phase (n,) of each of these trials."""
        found: Array = np.einsum("kqn,kn->qn", self.coefficients, _terms(phase, len(self.coefficients)))
        return found


def _terms(phase: Array, count: int) -> Array:
    """What the coefficients belong to, (count, n)."""
    found = np.ones((count, phase.size))
    found[1], found[2] = np.cos(phase), np.sin(phase)
    cosine, sine = found[1:3]
    for k in range(3, count):
        c, s = found[(k - 1) // 2 * 2 - 1], found[(k - 1) // 2 * 2]
        found[k] = c * cosine - s * sine if k % 2 else s * cosine + c * sine
    return found


def harmonics_of(solve: Solve, smooth: Smooth, trials: int) -> Harmonics | None:
    """A polynomial for those of the trials that have one which is good to `SURE`; None where few have."""
    rows = np.arange(trials)
    few = rows[:: max(trials // FEW, 1)]
    if not smooth([solve(0.0, few)[1]], few).any():
        return None
    costs = {0: float(OTHERWISE)}
    for nodes in NODES:
        if nodes >= min(costs.values()):
            break
        _, off = _through(solve, smooth, nodes, few)
        costs[nodes] = nodes + OTHERWISE * (1.0 - float((off <= SURE).mean()))
        if not (off <= HOPEFUL).any():
            break
    nodes = min(costs, key=lambda n: costs[n])
    if not nodes:
        return None
    coefficients, off = _through(solve, smooth, nodes, rows)
    sure = off <= SURE
    return Harmonics(rows[sure], coefficients[:, :, sure])


def _through(solve: Solve, smooth: Smooth, nodes: int, rows: Rows) -> tuple[Array, Array]:
    """Coefficients through so many phases, and what trials (n,) are off, relative; infinite for no use.

    Half-way from the first phase to the second the last harmonic's cosine is zero, and at the phases its
    sine. Off by what is missing of the one, and by as much as is known of the other, it tells the size of
    what is left out.
    """
    solved = [solve(TURN * j / nodes, rows) for j in range(nodes)]
    between, _ = solve(TURN / (2 * nodes), rows)
    times, never = np.stack([at for at, _ in solved]), np.isinf(between)
    alike = (np.isinf(times) == never).all(axis=(0, 1)) & smooth([motion for _, motion in solved], rows)
    coefficients = np.tensordot(_matrix(nodes), np.where(never | ~alike, 0.0, times), 1)
    half = Harmonics(rows, coefficients).at(np.full(rows.size, np.pi / nodes))
    off = np.maximum(np.abs(half - np.where(never, 0.0, between)), np.abs(coefficients[-1]))
    coefficients[0] = np.where(never, np.inf, coefficients[0])
    return coefficients, np.where(alike, (off / between).max(axis=0), np.inf)


def _matrix(nodes: int) -> Array:
    """From values at evenly spaced phases to coefficients, (nodes, nodes)."""
    turns = np.arange(nodes) / nodes
    rows = [np.full(nodes, 1 / nodes)]
    for number in range(1, nodes // 2 + 1):
        share = 2 / nodes if 2 * number < nodes else 1 / nodes
        rows += [share * np.cos(TURN * number * turns), share * np.sin(TURN * number * turns)]
    return np.array(rows[:nodes])
