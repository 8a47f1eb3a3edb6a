"""Search for the cheapest rig that does what is wanted.

Screening by physics, simulation of what is left over common random numbers (after a pretrial
that drops what is surely beaten, if wanted), refinement of
the continuous quantities of the best, and a final round with draws of its own, so that the
winner's figures are not flattered by having been chosen for them.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, ClassVar

import numpy as np

from gatesim.ground.data import Keys
from gatesim.ground.errors import InputError
from gatesim.studies.choice.candidate import Candidate, candidates, part_lengths
from gatesim.studies.choice.compare import Comparison, compare, pareto, ranked
from gatesim.studies.choice.description import Description, Finalist, describe
from gatesim.studies.choice.evaluate import Evaluation, Round, evaluate, groups_of
from gatesim.studies.choice.figures import meets
from gatesim.studies.choice.model import Choice
from gatesim.studies.choice.race import beaten, pretrial_of
from gatesim.studies.choice.refine import refine
from gatesim.studies.workers import place

REFINED = 4
"""Candidates whose continuous quantities are refined."""

FINALISTS = 12
"""Candidates of the final round, beside the refined ones."""

FINAL_BLOCK = 1_000_000
"""First block of the final round: far from those of the search, so its draws are independent."""


@dataclass(frozen=True)
class Entry:
    """A candidate and what became of it."""

    candidate: Candidate
    evaluation: Evaluation

    @property
    def uncertainty(self) -> float:
        """Root mean square error at the worst part length, m; infinite if rejected."""
        figures = self.evaluation.figures
        return np.inf if figures is None else figures.uncertainty


@dataclass(frozen=True)
class ChoiceResult:
    """Result of a search.

    ``entries``: every candidate in order of its number. ``finalists``: of the final round,
    best first, with figures from draws of their own; ``against[i]``: the first finalist
    compared with finalist i (None for itself). ``front``: indices of the finalists' Pareto
    front. ``motions``: groups of candidates that shared their motion. ``dropped``: numbers of
    the candidates that left after the pretrial, whose figures rest on its fewer trials.
    """

    choice: Choice
    round_: Round
    entries: Sequence[Entry]
    finalists: Sequence[Entry]
    against: Sequence[Comparison | None]
    front: Sequence[int]
    motions: int
    dropped: frozenset[int] = frozenset()

    KEYS: ClassVar[Keys] = {
        "trials_each": "trials_each",
        "seed": "seed",
        "candidates": "candidates",
        "rejected_count": "rejected",
        "motions": "motion_groups",
        "dropped_count": "dropped_after_the_heat",
        "winner_name": "winner",
        "compared": "finalists",
        "described": "all",
        "choice": None,
        "round_": None,
        "entries": None,
        "finalists": None,
        "against": None,
        "front": None,
        "dropped": None,
    }

    @property
    def trials_each(self) -> int:
        """Trials of each candidate."""
        return self.round_.trials

    @property
    def seed(self) -> int:
        """Seed of the draws."""
        return self.round_.seed

    @property
    def candidates(self) -> int:
        """How many candidates there were."""
        return len(self.entries)

    @property
    def rejected_count(self) -> int:
        """How many of them were rejected."""
        return len(self.rejected)

    @property
    def dropped_count(self) -> int:
        """How many left after the pretrial."""
        return len(self.dropped)

    @property
    def winner_name(self) -> str | None:
        """Alternatives and values of the winner."""
        return None if self.winner is None else self.winner.candidate.name

    @property
    def described(self) -> list[Description]:
        """Every candidate as plain data, in order of its number."""
        return [describe(e.candidate, e.evaluation, self.choice.wanted) for e in self.entries]

    @property
    def compared(self) -> list[Finalist]:
        """The finalists as plain data, best first."""
        return [
            Finalist(describe(e.candidate, e.evaluation, self.choice.wanted), index in self.front, against)
            for index, (e, against) in enumerate(zip(self.finalists, self.against, strict=True))
        ]

    @property
    def winner(self) -> Entry | None:
        """The cheapest candidate that meets every requirement in the final round."""
        if self.finalists and _meets(self.finalists[0], self.choice):
            return self.finalists[0]
        return None

    @property
    def rejected(self) -> list[Entry]:
        """Candidates that physics rules out, or whose parts do not fit together."""
        return [entry for entry in self.entries if entry.evaluation.refusal]


def _meets(entry: Entry, choice: Choice) -> bool:
    figures = entry.evaluation.figures
    return figures is not None and meets(figures, choice.wanted)


def choose(
    choice: Choice,
    trials: int = 10_000,
    seed: int = 1,
    workers: int | None = None,
    progress: bool = False,
    race: bool = False,
) -> ChoiceResult:
    """Search the candidates of a file; ``trials`` for each, spread evenly over the part lengths.

    ``race``: run a pretrial first, see `gatesim.studies.choice.race`.
    The result depends on file, trials and seed, not on the workers. Raises InputError for
    fewer than two trials a part length, and for a file that spans no candidate.
    """
    if trials < 2 * part_lengths(choice).size:
        raise InputError(f"trials: given {trials}, expected at least two for each part length")
    search, final = Round(trials, seed), Round(trials, seed, FINAL_BLOCK)
    found = candidates(choice)
    pretrial = pretrial_of(search, part_lengths(choice).size) if race else None
    dropped: frozenset[int] = frozenset()
    if pretrial is None:
        entries, motions = _evaluated(found, choice, search, workers, progress)
    else:
        entries, motions, dropped = _raced(found, choice, (pretrial, search), workers, progress)
    best = _best(entries, choice, dropped)
    if choice.ranges:
        best = _with_refined(best, entries, choice, search, workers)
    last, _ = _evaluated(
        [replace(c, number=i) for i, c in enumerate(best)], choice, final, workers, False, keep_errors=True
    )
    finalists = [last[i] for i in _order(last, choice)]
    return ChoiceResult(
        choice, search, entries, finalists, _against(finalists), _front(finalists), motions, dropped
    )


def _raced(
    found: Sequence[Candidate],
    choice: Choice,
    rounds: tuple[Round, Round],
    workers: int | None,
    progress: bool,
) -> tuple[list[Entry], int, frozenset[int]]:
    """Pretrial and full round: every candidate with the figures of the last round it ran in."""
    entries, motions = _evaluated(found, choice, rounds[0], workers, progress, keep_errors=True)
    field = [(entry.candidate, entry.evaluation) for entry in entries]
    dropped = frozenset(beaten(field, choice.wanted.least_yield.nominal))
    left = [e.candidate for e in entries if e.evaluation.figures and e.candidate.number not in dropped]
    again, _ = _evaluated(left, choice, rounds[1], workers, progress)
    full = {entry.candidate.number: entry for entry in again}
    shown = [
        full.get(e.candidate.number, Entry(e.candidate, replace(e.evaluation, errors=None))) for e in entries
    ]
    return shown, motions, dropped


def _evaluated(
    found: Sequence[Candidate], choice: Choice, round_: Round, workers: int | None, progress: bool,
    keep_errors: bool = False,
) -> tuple[list[Entry], int]:  # fmt: skip
    """Every candidate with its evaluation, in the order given, and the number of groups."""
    groups = groups_of(found)
    task = partial(evaluate, choice=choice, round_=round_, keep_errors=keep_errors)
    results = _map(task, groups, workers, [len(group) for group in groups], progress)
    evaluations = {c.number: Evaluation(c.refusal) for c in found if c.scenario is None}
    for group, result in zip(groups, results, strict=True):
        evaluations.update({c.number: e for c, e in zip(group, result, strict=True)})
    return [Entry(c, evaluations[c.number]) for c in found], len(groups)


def _map(
    task: Callable[[Any], Any],
    items: Sequence[Any],
    workers: int | None,
    sizes: Sequence[int],
    progress: bool,
) -> list[Any]:
    """Results in the order of the items, computed on the workers, largest first."""
    from tqdm import tqdm  # deferred: costs start-up time

    results: list[Any] = [None] * len(items)
    # a process pool takes a second to start: not for a handful of candidates
    cores = 1 if len(items) < 2 else workers
    todo = iter(sorted(range(len(items)), key=lambda i: -sizes[i]))
    flying: dict[Future[Any], int] = {}
    with (
        tqdm(total=sum(sizes), unit=" rigs", disable=not progress) as bar,
        place(None, cores, 1 if cores == 1 else 10**6) as (where, window),
    ):
        while True:
            while len(flying) < window and (index := next(todo, None)) is not None:
                flying[where.submit(task, items[index])] = index
            if not flying:
                return results
            for future in wait(flying, return_when=FIRST_COMPLETED).done:
                index = flying.pop(future)
                results[index] = future.result()
                bar.update(sizes[index])


def _order(entries: Sequence[Entry], choice: Choice) -> list[int]:
    return ranked(
        [entry.candidate.cost for entry in entries],
        [entry.uncertainty for entry in entries],
        [_meets(entry, choice) for entry in entries],
    )


def _front(entries: Sequence[Entry]) -> list[int]:
    """Indices of the Pareto front, cheapest first; rejected entries are infinitely uncertain."""
    costs = np.array([entry.candidate.cost for entry in entries])
    front = np.flatnonzero(pareto(costs, np.array([entry.uncertainty for entry in entries])))
    return [int(i) for i in front[np.argsort(costs[front], kind="stable")]]


def _best(entries: Sequence[Entry], choice: Choice, dropped: frozenset[int]) -> list[Candidate]:
    """Who goes to the final round: the first of the ranking, and the Pareto front."""
    working = [e for e in entries if np.isfinite(e.uncertainty) and e.candidate.number not in dropped]
    first = [working[i].candidate for i in _order(working, choice)[:FINALISTS]]
    front = [working[i].candidate for i in _front(working)]
    return list({c.number: c for c in first + front}.values())


def _with_refined(
    best: Sequence[Candidate], entries: Sequence[Entry], choice: Choice, round_: Round, workers: int | None
) -> list[Candidate]:
    """The finalists, and refined copies of the best grid point of the first few sets of alternatives."""
    least: dict[tuple[str, ...], Candidate] = {}
    for entry in sorted(entries, key=lambda entry: entry.uncertainty):
        least.setdefault(tuple(entry.candidate.picks.values()), entry.candidate)
    sets = list(dict.fromkeys(tuple(c.picks.values()) for c in best))[:REFINED]
    task = partial(refine, choice=choice, round_=round_)
    starts = [least[picks] for picks in sets]
    refined = _map(task, starts, workers, [1] * len(starts), False)
    return [*best, *(c for c, start in zip(refined, starts, strict=True) if c.values != start.values)]


def _against(finalists: Sequence[Entry]) -> list[Comparison | None]:
    found: list[Comparison | None] = []
    for entry in finalists:
        first, other = finalists[0].evaluation, entry.evaluation
        if entry is finalists[0] or None in (first.figures, other.figures):
            found.append(None)
            continue
        assert first.figures is not None
        assert other.figures is not None
        assert first.errors is not None
        assert other.errors is not None
        worst = (first.figures.worst, other.figures.worst)
        found.append(compare(first.errors, other.errors, worst, len(finalists) - 1, other.each))
    return found
