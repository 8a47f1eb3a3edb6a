"""What became of each trial, from what every stage saw."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.counter import Counted
from gatesim.ground.arrays import Array, Flags, Scalar
from gatesim.ground.outcome import Outcome
from gatesim.ground.transition import edge_count
from gatesim.motion import Passage
from gatesim.scenario.model import Scenario

_READS = np.zeros(max(Outcome) + 1, bool)
_READS[[outcome for outcome in Outcome if outcome.reads]] = True


@dataclass(frozen=True)
class Verdict:
    """``code`` (n,) of `gatesim.ground.outcome.Outcome`."""

    code: NDArray[np.int64]

    @property
    def reads(self) -> Flags:
        """Whether the controller obtains a reading, (n,)."""
        reads: Flags = _READS[self.code]
        return reads


def verdict(
    scenario: Scenario,
    gates: tuple[Scalar, ...],
    motion: Passage,
    alone: Sequence[Array],
    filtered: Sequence[Array],
    counted: Counted,
    stretches_to: Scalar,
) -> Verdict:
    """The first thing that went wrong on the way from release to reading, if anything did.

    ``alone``: light at each gate as one part makes it, by itself; parts that follow make as much.
    ``stretches_to`` as `gatesim.inputfilter.Filter` has it.
    """
    n = len(counted.outcome)
    seen, passed, acted = (_any_at_both(gates) for gates in (alone, filtered, counted.gates))
    stops = (motion.outcome == Outcome.STOPPED) | (motion.outcome == Outcome.RAN_BACK)
    code = np.zeros(n, np.int64)

    def mark(here: Flags, outcome: Outcome | NDArray[np.int64]) -> None:
        if here.any():
            np.copyto(code, outcome, where=here & (code == Outcome.MEASURED))

    # a part that stops once everything is latched has been measured
    mark(stops & (counted.outcome[:, 0] != Outcome.MEASURED), motion.outcome)
    mark(~seen, Outcome.NOT_DARKENED)
    mark(~passed, Outcome.SWALLOWED)
    mark(~acted, Outcome.MISSED)
    if np.any(stretches_to):
        mark(_stretched(alone, filtered, stretches_to), Outcome.STRETCHED)
    chatters = any(sensor.chatter is not None for sensor in scenario.sensors)
    if chatters or scenario.follower is not None:
        parts = 1 if scenario.follower is None else 1 + scenario.follower.count
        before, after = parts * _edges(alone), _edges(counted.gates)
        if chatters:
            mark(np.asarray((after > before).any(axis=0)), Outcome.CHATTERED)
    if scenario.follower is not None:
        mark(np.asarray((after < before).any(axis=0)), Outcome.MERGED)
        mark(counted.cycles.darkened[:, 0] > 1, Outcome.NEXT_TOO_SOON)
    mark(counted.outcome[:, 0] != Outcome.MEASURED, counted.outcome[:, 0])
    mark(motion.outcome == Outcome.RUNAWAY, Outcome.RUNAWAY)
    with np.errstate(invalid="ignore"):  # never caught, or nothing to catch it, is NaN
        late = motion.caught_position > np.asarray(gates[0])
    mark((motion.outcome == Outcome.SLIPPING) | late, Outcome.SLIPPING)
    return Verdict(code)


def unread(code: NDArray[np.int64], reading: Array) -> NDArray[np.int64]:
    """Outcomes where the formula in charge makes nothing of counts that came about, (n,)."""
    silent = np.isnan(reading) & (code == Outcome.MEASURED)
    return np.where(silent, np.int64(Outcome.NO_READING), code) if silent.any() else code


def _edges(gates: Sequence[Array]) -> NDArray[np.intp]:
    """Transitions at gates 1 and 2, (2, n)."""
    return np.stack([edge_count(times) for times in gates[:2]])


def _stretched(alone: Sequence[Array], filtered: Sequence[Array], to: Scalar) -> Flags:
    """Whether a gate's first pulse lasts as the filter made it: the part had left before, unheard."""
    unheard = np.zeros(len(filtered[0]), bool)
    for light, times in zip(alone[:2], filtered[:2], strict=True):
        with np.errstate(invalid="ignore"):  # padding less padding
            lasting = times[:, 1] - times[:, 0]
        left = np.max(light, axis=1, where=np.isfinite(light), initial=-np.inf)
        # chatter may make a first pulse last so long, too, while the part is still there
        unheard |= np.isclose(lasting, to, rtol=1e-9, atol=0.0) & (times[:, 1] >= left)
    return unheard


def _any_at_both(gates: Sequence[Array]) -> Flags:
    """Whether there is an edge at gate 1 and one at gate 2, (n,): edges are in order, so the first tells."""
    return np.asarray((gates[0][:, 0] < np.inf) & (gates[1][:, 0] < np.inf))
