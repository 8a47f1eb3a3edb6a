"""What the motion on a span looks like before it is computed, and so which kind of step is cheaper."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Flags
from gatesim.motion.integrate.collocation import end_guess
from gatesim.motion.integrate.settled import LONG, MUCH
from gatesim.motion.integrate.span import Dynamics
from gatesim.motion.integrate.step import end_speed

STIFF, CHANGING = 10.0, 50.0
"""Relaxation lengths on a span from which on implicit steps are the cheaper ones, and as many more for a
change of the speed by a factor of e. One costs as much as six explicit ones, which are about a relaxation
length long; of them it takes a few, and more where the speed changes much (measured)."""

PIECE = 0.3
"""Part of a piece of a profile from which on they are, too: a whole one takes ten explicit steps and more."""

FIRST, CHANGE = 2.5, 0.5
"""Relaxation lengths of a first implicit step that is accurate as a rule, and by how much the logarithm of
the speed may change on it (measured)."""

REST = 0.05
"""Part of the speed at the end of a span below which that at its start says nothing."""


@dataclass(frozen=True)
class Outlook:
    """Of trials (n,): the size of a first implicit step, and for whom such steps are the cheaper ones.

    uneven: those on a piece of a profile. stiff: those that relax to their terminal speed many times over on
    the span. settling: those that do so often enough to go a long way at once.
    """

    first: Array
    uneven: Flags
    stiff: Flags
    settling: Flags


def outlook(dynamics: Dynamics, size: Array, v: Array) -> Outlook:
    """For spans of ``size`` (n,), from speed v (n,)."""
    if not dynamics.terms:
        return Outlook(np.full(v.shape, np.inf), *np.zeros((3, *v.shape), bool))
    a, slope = dynamics.rates(None, v)
    with np.errstate(all="ignore"):  # at rest, or stopping on the way
        end, _ = end_guess(dynamics, np.zeros_like(size), v, end_speed(v, a, size), size, 6)
        begin = np.maximum(v, REST * end)
        here, there = -slope / begin, -dynamics.rates(size, end)[1] / end
        lengths = size * np.maximum(here, there)
        change = np.abs(np.log(end / begin))
        first = np.minimum(np.where(here > 0, FIRST / here, np.inf), CHANGE * size / change)
        stiff = lengths > STIFF + CHANGING * change
    uneven = np.zeros(v.shape, bool)
    for _, line in dynamics.terms:
        uneven |= line.pieces(size) > PIECE
    return Outlook(first, uneven, stiff, lengths > LONG + MUCH)
