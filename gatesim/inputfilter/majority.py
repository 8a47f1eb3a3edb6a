"""A level is accepted when enough of the last samples show it."""

from dataclasses import dataclass

import numpy as np

from gatesim.draw import Array, Draw
from gatesim.inputfilter.base import column
from gatesim.quantity import Scalar
from gatesim.transition import compact


@dataclass(frozen=True)
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
        index = _accepted(first, self.samples, self.needed)
        return compact((index + phase[:, None]) * period)


def _accepted(first: Array, samples: int, needed: int) -> Array:
    """Sample indices at which the output changes, (n, m), inf-padded.

    The number of dark samples among the last ``samples`` is piecewise linear in the index,
    with kinks where a level enters (``first``) and where it leaves the window, so that each
    piece is looked at once and a change found by counting steps.
    """
    n = len(first)
    with np.errstate(invalid="ignore"):  # padding less padding
        kinks = np.sort(np.concatenate([first, first + samples], axis=1), axis=1)
    changes = np.full((n, kinks.shape[1]), np.inf)
    dark = np.zeros(n, bool)
    count = np.zeros(n)  # dark samples in the window, at the sample before the piece
    for piece in range(kinks.shape[1]):
        start = kinks[:, piece]
        end = kinks[:, piece + 1] if piece + 1 < kinks.shape[1] else np.full(n, np.inf)
        enters = _is_dark(first, start)
        leaves = _is_dark(first, start - samples)
        slope = enters.astype(float) - leaves.astype(float)
        target = np.where(dark, samples - needed, needed)
        steps = np.where(dark, count - target, target - count)
        towards = np.where(dark, slope < 0.0, slope > 0.0)
        reached = np.maximum(steps, 1.0) - 1.0
        hit = towards & (start + reached < end) & np.isfinite(start)
        changes[hit, piece] = (start + reached)[hit]
        with np.errstate(invalid="ignore"):  # inf - inf in the padding
            run = np.where(np.isfinite(end) & np.isfinite(start), end - start, 0.0)
        count = count + slope * run
        dark = dark ^ hit
    return changes


def _is_dark(first: Array, index: Array) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    dark: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    dark = (first <= index[:, None]).sum(axis=1) % 2 == 1
    return dark
