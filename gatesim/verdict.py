"""What became of each trial, from what every stage saw."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.counter import Counted
from gatesim.draw import Array
from gatesim.motion import Passage
from gatesim.outcome import Outcome
from gatesim.quantity import Scalar
from gatesim.scenario.model import Scenario
from gatesim.transition import edge_count

_READS = np.zeros(max(Outcome) + 1, bool)
_READS[[outcome for outcome in Outcome if outcome.reads]] = True


@dataclass(frozen=True)
class Verdict:
    """``code`` (n,) of `gatesim.outcome.Outcome`."""

    code: NDArray[np.int64]

    @property
    def reads(self) -> NDArray[np.bool_]:
        """Whether the controller obtains a reading, (n,)."""
        reads: NDArray[np.bool_] = _READS[self.code]
        return reads


def verdict(
    scenario: Scenario,
    gates: tuple[Scalar, ...],
    motion: Passage,
    light: list[Array],
    sensed: list[Array],
    filtered: list[Array],
    counted: Counted,
) -> Verdict:
    """The first thing that went wrong on the way from release to reading, if anything did."""
    n = len(counted.outcome)
    seen = np.min([edge_count(times) for times in light[:2]], axis=0) > 0
    passed = np.min([edge_count(times) for times in filtered[:2]], axis=0) > 0
    acted = np.min([edge_count(times) for times in counted.gates[:2]], axis=0) > 0
    stops = np.isin(motion.outcome, (Outcome.STOPPED, Outcome.RAN_BACK))
    code = np.zeros(n, np.int64)

    def mark(here: NDArray[np.bool_], outcome: Outcome | NDArray[np.int64]) -> None:
        nonlocal code
        code = np.where((code == Outcome.MEASURED) & here, outcome, code)

    # a part that stops once everything is latched has been measured
    mark(stops & (counted.outcome[:, 0] != Outcome.MEASURED), motion.outcome)
    mark(~seen, Outcome.NOT_DARKENED)
    mark(~passed, Outcome.SWALLOWED)
    mark(~acted, Outcome.BETWEEN_SCANS)
    if scenario.follower is not None:
        mark(_merged(light, filtered), Outcome.MERGED)
        mark(counted.cycles.darkened[:, 0] > 1, Outcome.NEXT_TOO_SOON)
    elif scenario.sensor.chatter is not None:
        mark(_let_through(light, filtered), Outcome.CHATTERED)
    mark(np.ones(n, bool), counted.outcome[:, 0])
    mark(motion.outcome == Outcome.RUNAWAY, Outcome.RUNAWAY)
    with np.errstate(invalid="ignore"):  # never caught is NaN
        late = (
            (motion.caught_position > np.asarray(gates[0]))
            if scenario.belt is not None
            else np.zeros(n, bool)
        )
    mark((motion.outcome == Outcome.SLIPPING) | late, Outcome.SLIPPING)
    return Verdict(code)


def _merged(light: list[Array], filtered: list[Array]) -> NDArray[np.bool_]:
    """Fewer parts after the filter than passed the beam of gate 1 or 2."""
    lost = [
        edge_count(after) < edge_count(before) for before, after in zip(light[:2], filtered[:2], strict=True)
    ]
    found: NDArray[np.bool_] = np.any(lost, axis=0)
    return found


def _let_through(light: list[Array], filtered: list[Array]) -> NDArray[np.bool_]:
    """More transitions after the filter than the part made at gate 1 or 2."""
    more = [
        edge_count(after) > edge_count(before) for before, after in zip(light[:2], filtered[:2], strict=True)
    ]
    found: NDArray[np.bool_] = np.any(more, axis=0)
    return found
