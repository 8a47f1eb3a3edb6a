"""Screens and simulates groups of candidates that share their motion."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.controller import controller_of
from gatesim.chain.pipeline import Measured, read
from gatesim.chain.reference import AS_USUAL, lines
from gatesim.chain.verdict import Verdict, unread
from gatesim.formula import FORMULAS, Constants
from gatesim.ground.arrays import Array
from gatesim.ground.draw import Draw, Nominal, Streams
from gatesim.ground.outcome import Outcome
from gatesim.scenario import Scenario
from gatesim.studies.choice.candidate import Candidate, part_lengths
from gatesim.studies.choice.figures import Figures, figures_of
from gatesim.studies.choice.model import Choice, WantedTable
from gatesim.studies.choice.screen import busy_time, formula_refusal, passage_refusals, room_refusal
from gatesim.studies.choice.shared import (
    Memory,
    calibrations,
    group_key,
    references_of,
    repeated,
    run_together,
)

GROUP = 96
"""Rigs worked on together; enough that the motion costs little each."""

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
    """Candidates that share their motion, of at most `GROUP` rigs together; the same whatever the workers."""
    by_key: dict[str, list[Candidate]] = {}
    for candidate in found:
        if candidate.scenario is not None:
            by_key.setdefault(group_key(candidate.scenario), []).append(candidate)
    groups = []
    for same in by_key.values():
        rigs = list(_rigs(same).values())
        groups += [list(chain(*rigs[i : i + GROUP])) for i in range(0, len(rigs), GROUP)]
    return groups


def evaluate(
    group: Sequence[Candidate],
    choice: Choice,
    round_: Round,
    *,
    keep_errors: bool = False,
    memory: Memory | None = None,
) -> list[Evaluation]:
    """Screen the candidates of one group by nominal passages, and simulate those that are left.

    ``memory``: of groups that were evaluated before.
    """
    lengths, wanted = part_lengths(choice), choice.wanted
    refusals = [room_refusal(_scenario(c), wanted) for c in group]
    left = [c for c, refusal in zip(group, refusals, strict=True) if not refusal]
    nominal = _nominal(left, choice, lengths, memory)
    passed_on = [c for c in left if not nominal[c.number].refusal]
    simulated = _simulated(passed_on, choice, round_, nominal, memory, keep_errors=keep_errors)
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
        rigs.setdefault(candidate.rig, []).append(candidate)
    return rigs


def _nominal(
    group: Sequence[Candidate], choice: Choice, lengths: Array, memory: Memory | None
) -> dict[int, Evaluation]:
    """Refusal, calibration line and busy time of each candidate, by number."""
    found: dict[int, Evaluation] = {}
    rigs = _rigs(group)
    if not rigs:
        return found
    scenarios = [_scenario(same[0]) for same in rigs.values()]
    draw = Nominal(lengths.size)
    passages = run_together(scenarios, draw, lengths, quantised=False, memory=memory)
    alone = partial(_alone, draw, lengths, quantised=False)
    read = [
        (c, passed)
        for shared, same in zip(passages, rigs.values(), strict=True)
        for c, passed in zip(same, _as_read(same, shared, alone), strict=True)
    ]
    distinct = {id(passed): (_scenario(c), passed) for c, passed in reversed(read)}  # most often one a rig
    whys = passage_refusals([*distinct.values()], lengths, choice.wanted)
    refusals = dict(zip(distinct, whys, strict=True))
    for c, passed in read:
        name, constants = formula = _formula(_scenario(c))
        reading, _ = _reading(passed, formula)
        missing = FORMULAS[name].missing(constants)
        why = refusals[id(passed)] or formula_refusal(name, missing, reading, lengths)
        line = (1.0, 0.0) if why else _calibrated(reading, lengths, choice.sections.calibration)
        found[c.number] = Evaluation(why, None, line, float(np.max(busy_time(passed))))
    return found


Formula = tuple[str, Constants]
"""The name of one, and what the controller holds for it."""


def _formula(scenario: Scenario) -> Formula:
    """The formula in charge and the controller's constants."""
    return next(iter(controller_of(scenario).constants.items()))


def _alone(draw: Draw, lengths: Array, scenario: Scenario, *, quantised: bool) -> Measured:
    return run_together([scenario], [draw], lengths, quantised=quantised)[0]


def _calibrated_alone(streams: Streams, known: Array, on_a_rig: int, scenario: Scenario) -> Measured:
    return calibrations([scenario], streams, known, on_a_rig)[0]


def _as_read(
    same: Sequence[Candidate], shared: Measured, alone: Callable[[Scenario], Measured]
) -> list[Measured]:
    """What each candidate of one rig makes of its passages, run with the formula of the first.

    An overflow spoils only the formulas that need the register: where there is one, each runs ``alone``.
    """
    code = np.where(shared.outcome == Outcome.NO_READING, Outcome.MEASURED, shared.outcome).astype(np.int64)
    read = replace(shared, outcome=code)
    if not any(flags.any() for flags in shared.counted.overflowed.values()):
        return [read] * len(same)
    return [read if c is same[0] else _as_read([c], alone(_scenario(c)), alone)[0] for c in same]


def _reading(passed: Measured, formula: Formula) -> tuple[Array, Codes]:
    """Readings of a formula and what became of the trials."""
    name, constants = formula
    reading = read({name: constants}, passed.counts, Verdict(passed.outcome).reads)[name]
    return reading, unread(passed.outcome, reading)


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
    memory: Memory | None,
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
    formulas = {c.number: _formula(_scenario(c)) for c in group}
    known = references_of(lengths, choice.sections.calibration)
    on_a_rig = ON_A_RIG if known.size else 1
    for streams in round_.blocks(lengths.size, on_a_rig):
        each, rig = np.repeat(lengths, streams.trials), np.arange(streams.trials) // on_a_rig
        draws = repeated(scenarios, streams, lengths.size, on_a_rig, memory)
        passages = run_together(scenarios, draws, each, quantised=True, memory=memory)
        calibrating = calibrations(scenarios, streams, known, on_a_rig, memory)
        known_alone = partial(_calibrated_alone, streams, known, on_a_rig)
        for number, same in enumerate(rigs.values()):
            alone = partial(_alone, draws[number], each, quantised=True)
            references: Sequence[Measured | None] = [None] * len(same)
            if calibrating:
                references = _as_read(same, calibrating[number], known_alone)
            read = _as_read(same, passages[number], alone)
            for c, passed, reference in zip(same, read, references, strict=True):
                reading, outcome = _reading(passed, formulas[c.number])
                reading = reading.reshape(lengths.size, -1)
                if reference is not None:
                    gain, zero = _lines(reference, formulas[c.number], known)
                    reading = gain[rig] * reading + zero[rig]
                errors[c.number].append(reading - lengths[:, None])
                outcomes[c.number].append(outcome.reshape(lengths.size, -1))
    every = {number: np.concatenate(blocks, axis=1) for number, blocks in errors.items()}
    figures = _figures(every, outcomes, lengths, choice.wanted, on_a_rig)
    return {
        number: replace(
            nominal[number],
            each=on_a_rig,
            figures=figures[number],
            errors=whole if keep_errors else None,
        )
        for number, whole in every.items()
    }


def _figures(
    errors: dict[int, Array], outcomes: dict[int, list[Codes]], lengths: Array, wanted: WantedTable, each: int
) -> dict[int, Figures]:
    """Figures of candidates by number, worked out once for all whose errors are the same, bit by bit.

    These are many: a filter that only comes late, and one that comes later, leave every count as it is.
    """
    known: dict[tuple[float, int], list[tuple[Array, Codes, Figures]]] = {}
    found: dict[int, Figures] = {}
    for number, every in errors.items():
        outcome = np.concatenate(outcomes[number], axis=1)
        alike = known.setdefault((float(np.nansum(every)), int(outcome.sum())), [])
        for same, became, figures in alike:
            if np.array_equal(same, every, equal_nan=True) and np.array_equal(became, outcome):
                found[number] = figures
                break
        else:
            found[number] = figures_of(every, outcome, lengths, wanted, each)
            alike.append((every, outcome, found[number]))
    return found


def _lines(passed: Measured, formula: Formula, known: Array) -> tuple[Array, Array]:
    """Gain and zero of each rig, from passages of parts of ``known`` lengths through it."""
    reading, _ = _reading(passed, formula)
    return lines(reading.reshape(-1, known.size, AS_USUAL.passages), known)
