"""Extra transitions after a switching edge."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.draw import Array, Draw
from gatesim.quantity import Scalar
from gatesim.transition import compact

MOST_PULSES = 12
"""Pulses kept after one edge; with a mean of 3 the Poisson law exceeds it once in 60 000 edges."""


@dataclass(frozen=True)
class Chatter:
    """A Poisson number of extra pulses after each edge, mean ``mean_pulses``.

    The times between their transitions are exponential, mean ``mean_spacing`` (s). Pulses
    that would run into the next edge are left out. Common practice, no source.
    """

    mean_pulses: Scalar
    mean_spacing: Scalar

    def added(self, times: Array, draw: Draw, gate: int) -> Array:
        """Transition lists (n, k) with the chatter put in, (n, m)."""
        n, edges = times.shape
        pulses = self._pulses(draw.uniform(f"sensor.chatter_pulses@{gate}", edges))
        pulses[np.isinf(times)] = 0
        most = int(pulses.max(initial=0))
        if most == 0:
            return times
        following = np.concatenate([times[:, 1:], np.full((n, 1), np.inf)], axis=1).ravel()
        spacing = np.broadcast_to(_column(self.mean_spacing), times.shape).ravel()
        every = np.full((n * edges, 1 + 2 * most), np.inf)
        every[:, 0] = times.ravel()
        edge = np.arange(n * edges)
        for number in range(most):
            # one name a pulse: the draws of a trial do not depend on how many others need
            wait = draw.uniform(f"sensor.chatter_spacing@{gate}.{number + 1}", 2 * edges)
            edge = edge[pulses.ravel()[edge] > number]
            begin = every[edge, 2 * number] - spacing[edge] * np.log(wait.reshape(-1, 2)[edge, 0])
            end = begin - spacing[edge] * np.log(wait.reshape(-1, 2)[edge, 1])
            fits = end < following[edge]
            edge = edge[fits]
            every[edge, 2 * number + 1], every[edge, 2 * number + 2] = begin[fits], end[fits]
        return compact(every.reshape(n, -1))

    def _pulses(self, u: Array) -> NDArray[np.int64]:
        """Poisson numbers by the inverse distribution function."""
        mean = _column(self.mean_pulses)
        term = below = np.exp(-mean)
        pulses = np.zeros(u.shape, np.int64)
        for number in range(1, MOST_PULSES + 1):
            more = u > below
            if not more.any():
                break
            pulses += more
            term = term * mean / number
            below = below + term
        return pulses


def _column(value: Scalar) -> Array:
    array = np.asarray(value, float)
    return array[:, None] if array.ndim else array
