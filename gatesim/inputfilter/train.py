"""A pulse train, such as an encoder's, that goes through the input filter to the count input."""

import numpy as np

from gatesim.ground.arrays import Array, Scalar, column
from gatesim.ground.draw import Draw
from gatesim.ground.transition import edge_count
from gatesim.inputfilter.base import Filter

PULSES = 32
"""Pulses of a train that are played to a filter to see how many it passes."""


def highest_train(kind: Filter, duty: float = 0.5) -> float:
    """Highest frequency (Hz) of a train whose every pulse surely passes; ``duty`` is its dark share.

    Its shorter level lasts min(duty, 1 - duty)/frequency and must be long enough to be
    followed. Infinite without a filter.
    """
    width = kind.minimum_pulse_width
    return min(duty, 1.0 - duty) / width if width > 0.0 else np.inf


def share_passed(kind: Filter, frequency: Scalar, draw: Draw, duty: float = 0.5) -> Array:
    """Share of the pulses of an even train of this frequency (Hz) that the filter passes, (n,).

    Found by playing `PULSES` of them, not by a formula, so that it holds for every filter. The
    first is not counted: a train that merges into one long level passes nothing.
    """
    n = draw.trials
    with np.errstate(divide="ignore"):  # a roller at rest has no period
        period = np.broadcast_to(1.0 / column(frequency), (n, 1))
    period = np.where(np.isfinite(period), period, 1e9)
    dark = np.arange(PULSES) * period
    train = np.stack([dark, dark + duty * period], axis=2).reshape(n, -1)
    passed = edge_count(kind.pass_on(train, draw, "filter@count")) // 2
    return np.maximum(passed - 1, 0) / (PULSES - 1)
