"""A level is accepted when enough of the last samples show it."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Scalar, column
from gatesim.ground.draw import Draw
from gatesim.ground.quantity import accepts
from gatesim.inputfilter.base import Accepted


@dataclass(frozen=True)
@accepts(period="s")
class Majority:
    """Sample every ``period`` (s); change when ``needed`` of the last ``samples`` agree.

    The phase of the samples is random. Common practice, no source.
    """

    period: Scalar
    samples: int
    needed: int

    @property
    def surely_followed(self) -> float:
        """See `Filter.surely_followed`."""
        return float(np.max(self.period)) * self.needed

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """See `Filter.pass_on`."""
        phase = draw.uniform(f"{name}.sampling_phase")
        period = column(self.period)
        # index of the first sample that sees each edge; a sample at the very edge sees the new level
        first = np.ceil(times / period - phase[:, None])
        return (_changes(first, self.samples, self.needed) + phase[:, None]) * period


def _changes(first: Array, samples: int, needed: int) -> Array:
    """Sample indices at which the output changes, (n, m), inf-padded.

    The number of dark samples among the last ``samples`` is piecewise linear in the index,
    with kinks where a level enters (``first``) and where it leaves the window, so that each
    piece is looked at once and a change found by counting steps.
    """
    n, width = first.shape
    kinks = np.concatenate([first, first + samples], axis=1)
    order = np.argsort(kinks, axis=1, kind="stable")
    # a row for each kink, as everything is done for all trials kink by kink
    kinks = np.ascontiguousarray(np.take_along_axis(kinks, order, axis=1).T)
    enters = np.ascontiguousarray((order < width).T)
    accepted = Accepted(n, len(kinks))
    dark, newest, oldest = (np.zeros(n, bool) for _ in range(3))
    count = np.zeros(n)  # dark samples in the window, at the sample before the piece
    for piece, start in enumerate(kinks):
        if np.isinf(start).all():
            break
        end = kinks[piece + 1] if piece + 1 < len(kinks) else np.full(n, np.inf)
        # of kinks at the same sample, all but the last begin a piece of no length
        newest ^= enters[piece]
        oldest ^= ~enters[piece]
        slope = newest.astype(float) - oldest
        steps = np.where(dark, count - (samples - needed), needed - count)
        at = start + np.maximum(steps, 1.0) - 1.0
        hit = (slope == np.where(dark, -1.0, 1.0)) & (at < end)
        accepted.add(at, hit)
        dark ^= hit
        with np.errstate(invalid="ignore"):  # inf - inf in the padding
            count += np.where(np.isfinite(end), slope * (end - start), 0.0)
    return accepted.lists()
