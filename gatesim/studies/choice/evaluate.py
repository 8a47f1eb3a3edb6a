"""Screens and simulates groups of candidates that share their motion."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.controller import controller_of
from gatesim.chain.pipeline import Measured, read
from gatesim.chain.reference import AS_USUAL, lines
from gatesim.chain.verdict import Verdict
from gatesim.formula import FORMULAS, Constants
from gatesim.ground.arrays import Array
from gatesim.ground.draw import Nominal, Streams
from gatesim.scenario import Scenario
from gatesim.studies.choice.candidate import Candidate, part_lengths
from gatesim.studies.choice.figures import Figures, figures_of
from gatesim.studies.choice.model import Choice, WantedTable
from gatesim.studies.choice.screen import busy_time, formula_refusal, passage_refusal, room_refusal
from gatesim.studies.choice.shared import (
    calibrations,
    group_key,
    references_of,
    repeated,
    rig_key,
    run_together,
)

GROUP = 32
"""Candidates worked on together; enough that the motion costs little each."""

AT_ONCE = 10_000
"""Trials worked on together."""

Codes = NDArray[np.int64]

Line = tuple[float, float]
"""Gain and zero (m) of a calibration line."""

ON_A_RIG = 10
"""Trials of each part length on a rig that was calibrated: what that costs is shared by them."""


@dataclass(frozen=True)
class Round:
    """One round of simulation: trials of each candidate over all lengths, seed, first block of draws.

    Rounds whose first blocks differ have independent draws.
    """

    trials: int
    seed: int
    first_block: int = 0

    def blocks(self, lengths: int, on_a_rig: int = 1) -> list[Streams]:
        """Draws for one part length, block by block; whole rigs in each but the last."""
        each = max(self.trials // lengths, 2)
        size = max(AT_ONCE // lengths, 2, on_a_rig)
        size -= size % on_a_rig
        sizes = [min(size, each - done) for done in range(0, each, size)]
        return [Streams(self.seed, self.first_block + i, n) for i, n in enumerate(sizes)]


@dataclass(frozen=True)
class Evaluation:
    """What became of a candidate: why it was rejected, or its figures and calibration line.

    ``line`` of the nominal rig; the figures are those of rigs calibrated each by its own.
    ``each``: trials in a row that are of one rig.
    ``busy``: longest time from a part's arrival at gate 1 until the counter takes the next, s.
    ``errors`` (k, m) of every trial are kept on demand.
    """

    refusal: str = ""
    figures: Figures | None = None
    line: Line = (1.0, 0.0)
    busy: float = np.nan
    errors: Array | None = None
    each: int = 1


def groups_of(found: Sequence[Candidate]) -> list[list[Candidate]]:
    """Candidates that share their motion, at most `GROUP` together; the same whatever the workers."""
    by_key: dict[str, list[Candidate]] = {}
    for candidate in found:
        if candidate.scenario is not None:
            by_key.setdefault(group_key(candidate.scenario), []).append(candidate)
    return [same[i : i + GROUP] for same in by_key.values() for i in range(0, len(same), GROUP)]


def evaluate(
    group: Sequence[Candidate], choice: Choice, round_: Round, *, keep_errors: bool = False
) -> list[Evaluation]:
    """Screen the candidates of one group by nominal passages, and simulate those that are left."""
    lengths, wanted = part_lengths(choice), choice.wanted
    refusals = [room_refusal(_scenario(c), wanted) for c in group]
    left = [c for c, refusal in zip(group, refusals, strict=True) if not refusal]
    nominal = _nominal(left, choice, lengths)
    passed_on = [c for c in left if not nominal[c.number].refusal]
    simulated = _simulated(passed_on, choice, round_, nominal, keep_errors=keep_errors)
    return [
        Evaluation(refusal) if refusal else simulated.get(c.number, nominal[c.number])
        for c, refusal in zip(group, refusals, strict=True)
    ]


def _scenario(candidate: Candidate) -> Scenario:
    assert candidate.scenario is not None
    return candidate.scenario


def _rigs(group: Sequence[Candidate]) -> dict[str, list[Candidate]]:
    """Candidates of each physical rig: they differ in their formula only."""
    rigs: dict[str, list[Candidate]] = {}
    for candidate in group:
        rigs.setdefault(rig_key(_scenario(candidate)), []).append(candidate)
    return rigs


def _nominal(group: Sequence[Candidate], choice: Choice, lengths: Array) -> dict[int, Evaluation]:
    """Refusal, calibration line and busy time of each candidate, by number."""
    found: dict[int, Evaluation] = {}
    rigs = _rigs(group)
    if not rigs:
        return found
    scenarios = [_scenario(same[0]) for same in rigs.values()]
    passages = run_together(scenarios, Nominal(lengths.size), lengths, quantised=False)
    for scenario, passed, same in zip(scenarios, passages, rigs.values(), strict=True):
        refusal = passage_refusal(scenario, passed, lengths, choice.wanted)
        busy = float(np.max(busy_time(passed)))
        for c in same:
            name, constants = _formula(_scenario(c))
            reading = _reading(passed, name, constants)
            missing = FORMULAS[name].missing(constants)
            why = refusal or formula_refusal(name, missing, reading, lengths)
            line = (1.0, 0.0) if why else _calibrated(reading, lengths, choice.sections.calibration)
            found[c.number] = Evaluation(why, None, line, busy)
    return found


def _formula(scenario: Scenario) -> tuple[str, Constants]:
    """The formula in charge and the controller's constants."""
    return next(iter(controller_of(scenario).constants.items()))


def _reading(passed: Measured, name: str, constants: Constants) -> Array:
    return read({name: constants}, passed.counts, Verdict(passed.outcome).reads)[name]


def _calibrated(reading: Array, lengths: Array, how: str) -> Line:
    """Line through the nominal readings of the reference parts, to be applied to every reading."""
    if how == "none":
        return 1.0, 0.0
    if how == "zero" or lengths.size == 1:
        middle = (lengths[0] + lengths[-1]) / 2.0
        return 1.0, float(middle - np.interp(middle, lengths, reading))
    rise = reading[-1] - reading[0]
    gain = float((lengths[-1] - lengths[0]) / rise) if rise else 1.0
    return gain, float(lengths[0] - gain * reading[0])


def _simulated(
    group: Sequence[Candidate],
    choice: Choice,
    round_: Round,
    nominal: dict[int, Evaluation],
    *,
    keep_errors: bool,
) -> dict[int, Evaluation]:
    lengths = part_lengths(choice)
    rigs = _rigs(group)
    if not rigs:
        return {}
    scenarios = [_scenario(same[0]) for same in rigs.values()]
    errors: dict[int, list[Array]] = {c.number: [] for c in group}
    outcomes: dict[int, list[Codes]] = {c.number: [] for c in group}
    known = references_of(lengths, choice.sections.calibration)
    on_a_rig = ON_A_RIG if known.size else 1
    for streams in round_.blocks(lengths.size, on_a_rig):
        each = np.repeat(lengths, streams.trials)
        shape = (lengths.size, streams.trials)
        rig = np.arange(streams.trials) // on_a_rig
        draws = repeated(scenarios, streams, lengths.size, on_a_rig)
        passages = run_together(scenarios, draws, each, quantised=True)
        calibrating = calibrations(scenarios, streams, known, on_a_rig)
        for passed, references, same in zip(passages, calibrating, rigs.values(), strict=True):
            for c in same:
                name, constants = _formula(_scenario(c))
                reading = _reading(passed, name, constants).reshape(shape)
                if references is not None:
                    of_known = _reading(references, name, constants)
                    gain, zero = lines(of_known.reshape(-1, known.size, AS_USUAL.passages), known)
                    reading = gain[rig] * reading + zero[rig]
                errors[c.number].append(reading - lengths[:, None])
                outcomes[c.number].append(passed.outcome.reshape(shape))
    return {
        c.number: _summed(
            replace(nominal[c.number], each=on_a_rig),
            errors[c.number],
            outcomes[c.number],
            lengths,
            choice.wanted,
            keep_errors,
        )
        for c in group
    }


def _summed(
    nominal: Evaluation, errors: list[Array], outcomes: list[Codes], lengths: Array,
    wanted: WantedTable, keep: bool,
) -> Evaluation:  # fmt: skip
    every = np.concatenate(errors, axis=1)
    figures = figures_of(every, np.concatenate(outcomes, axis=1), lengths, wanted, nominal.each)
    return replace(nominal, figures=figures, errors=every if keep else None)
