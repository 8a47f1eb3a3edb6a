"""What would change a reading: each proposal is run through the pipeline, not argued."""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar

import numpy as np

from gatesim.chain import pipeline
from gatesim.chain.alike import motion_key
from gatesim.chain.reference import CalibratedRigs, calibrated_rigs, with_references
from gatesim.chain.together import Case, run_all
from gatesim.explanation.proposal import Effort, Proposal, proposals_of
from gatesim.ground.data import Keys
from gatesim.ground.draw import Draw, Joined, Nominal, Streams
from gatesim.ground.outcome import Outcome
from gatesim.scenario.model import Scenario

TRIALS = 2000
RIGS = 250
WITHIN = 0.95
MOST_LOST = 0.01  # share of parts without a reading that is still no obstacle


@dataclass(frozen=True)
class Remedy:
    """A proposal and what it comes to; m.

    ``error`` of the nominal reading; ``spread``: standard deviation of the readings of
    `TRIALS` simulated parts, with what the scenario says of its spreads; ``lost``: share of
    them without a reading; ``reach``: what 95 % of the others are off by at most.
    Of rigs that are calibrated, mean and standard deviation of one reading
    on each of `RIGS`. ``outcome`` says what became of the nominal part. NaN: no reading.
    ``worst``: length of the part in m to which this applies, the worst of those required.
    ``enough``: nearly every part is read, and within what is wanted.
    """

    proposal: Proposal
    error: float
    spread: float
    reach: float
    lost: float
    outcome: Outcome
    worst: float
    enough: bool = False

    KEYS: ClassVar[Keys] = {
        "change": "change",
        "how": "how",
        "takes": "takes",
        "error": "error_m",
        "spread": "spread_m",
        "reach": "within_95_percent_m",
        "lost": "lost",
        "became": "outcome",
        "worst": "worst_length_m",
        "enough": "enough",
        "proposal": None,
        "outcome": None,
    }

    @property
    def effort(self) -> Effort:
        """What it takes."""
        return self.proposal.effort

    @property
    def change(self) -> str:
        """What is changed."""
        return self.proposal.title

    @property
    def how(self) -> str:
        """Where and to what."""
        return self.proposal.how

    @property
    def takes(self) -> str:
        """The effort in words."""
        return self.effort.words

    @property
    def became(self) -> str:
        """The outcome in a word."""
        return self.outcome.word


@dataclass(frozen=True)
class Remedies:
    """The rig as it is, what was tried (by effort, then by `Remedy.reach`), and the cheapest of use.

    ``wanted``: greatest `Remedy.reach` that is good enough, in m; ``wanted_text`` says whence.
    ``cheapest``: the first that comes to it, else None. ``best``: the smallest reach of all.
    """

    now: Remedy
    tried: tuple[Remedy, ...]
    wanted: float
    wanted_text: str
    cheapest: Remedy | None
    best: Remedy | None

    KEYS: ClassVar[Keys] = {
        "now": "now",
        "tried": "remedies",
        "wanted": "wanted_m",
        "cheapest_change": "cheapest",
        "wanted_text": None,
        "cheapest": None,
        "best": None,
    }

    @property
    def cheapest_change(self) -> str | None:
        """What is changed by the cheapest."""
        return None if self.cheapest is None else self.cheapest.change


def remedies(
    scenario: Scenario,
    formula: str,
    proposals: Sequence[Proposal] | None = None,
    each: Callable[..., Iterable[Any]] | None = None,
    move: pipeline.Move | None = None,
) -> Remedies:
    """Try every change that applies to this rig and formula; ``proposals`` instead of the built-in ones.

    Where no single change is enough, the best one is tried with each of the others on top. ``each``
    does what map does, in other processes, such as that of an executor. ``move`` as
    `gatesim.chain.pipeline.run` has it.
    """
    as_it_is = Proposal(Effort.SOFTWARE, "the rig as it is", "", scenario, formula)
    found_by = map if each is None else each
    (given,) = found_by(proposals_of, [scenario], [formula], [move]) if proposals is None else (proposals,)
    now, *tried = _all_tried([as_it_is, *given], each)
    wanted, text = _wanted(scenario, now.error)
    found = _ranked(tried, now, wanted, text)
    if found.cheapest is None and found.best is not None and found.best.reach < now.reach:
        (more,) = found_by(_with_a_second, [scenario], [found.best.proposal])
        found = _ranked([*found.tried, *_all_tried(more, each)], now, wanted, text)
    return found


def _all_tried(proposals: Sequence[Proposal], each: Callable[..., Iterable[Any]] | None) -> list[Remedy]:
    """What every proposal comes to, all tried together; in other processes those that move alike."""
    if each is None:
        return _tried(proposals)
    alike: dict[str, list[int]] = {}
    for number, proposal in enumerate(proposals):
        alike.setdefault(motion_key(proposal.scenario, but=("gate",)), []).append(number)
    found: dict[int, Remedy] = {}
    tasks = [[proposals[number] for number in numbers] for numbers in alike.values()]
    for numbers, tried in zip(alike.values(), each(_tried, tasks), strict=True):
        found.update(zip(numbers, tried, strict=True))
    return [found[number] for number in range(len(proposals))]


def _ranked(found: list[Remedy], now: Remedy, wanted: float, text: str) -> Remedies:
    def judged(remedy: Remedy) -> Remedy:
        return replace(remedy, enough=remedy.reach <= wanted and remedy.lost < MOST_LOST)

    found = [judged(remedy) for remedy in found]
    # a proposal without a reading sorts last within its effort
    found.sort(key=lambda r: (r.effort, np.inf if np.isnan(r.reach) else r.reach))
    tried = Remedies(judged(now), tuple(found), wanted, text, None, None)
    cheapest = next((r for r in found if r.enough), None)
    best = min((r for r in found if not np.isnan(r.reach)), key=lambda r: r.reach, default=None)
    return replace(tried, cheapest=cheapest, best=best)


def _with_a_second(scenario: Scenario, first: Proposal) -> list[Proposal]:
    """The best single change with each further one on top, where no single one is enough.

    A second that only changes what the first has changed is the same again, or takes it back.
    """
    found = []
    done = _touched(scenario.raw, first.scenario.raw)
    for second in proposals_of(first.scenario, first.formula):
        again = first.calibrated and second.calibrated
        if again or _touched(first.scenario.raw, second.scenario.raw) <= done:
            continue
        effort, title = max(first.effort, second.effort), f"{first.title}, and {second.title}"
        how = f"{first.how}; {second.how}"
        calibrated = first.calibrated or second.calibrated
        found.append(Proposal(effort, title, how, second.scenario, second.formula, calibrated))
    return found


def _touched(before: Mapping[str, Any], after: Mapping[str, Any], path: str = "") -> set[str]:
    """Paths of the keys that differ between two tables."""
    found: set[str] = set()
    for key in {*before, *after}:
        one, other = before.get(key), after.get(key)
        if isinstance(one, Mapping) and isinstance(other, Mapping):
            found |= _touched(one, other, f"{path}{key}.")
        elif one != other:
            found.add(f"{path}{key}")
    return found


def _wanted(scenario: Scenario, error: float) -> tuple[float, str]:
    asked = scenario.requirement
    allowed = asked.allowed(scenario.part.length.nominal)
    if math.isnan(allowed):
        return 0.1 * abs(error), "a tenth of the present error, as the scenario states no requirement"
    if asked.max_error is not None and allowed == asked.max_error.nominal:
        return allowed, "the greatest error that the scenario allows"
    return allowed, "the tolerance limits of the scenario"


def _tried(proposals: Sequence[Proposal]) -> list[Remedy]:
    """What each comes to at the worst of the lengths required, one without a reading before all others."""
    draws: dict[int, Draw] = {}
    calibrated = {
        number: calibrated_rigs(p.scenario, np.array(p.scenario.judged_lengths), RIGS, 1)
        for number, p in enumerate(proposals)
        if p.calibrated
    }
    cases = [_case(proposal.scenario, draws) for proposal in proposals]
    cases += [Case(proposals[number].scenario, c.draw, c.values) for number, c in calibrated.items()]
    passed = run_all(cases)
    more = dict(zip(calibrated, passed[len(proposals) :], strict=True))
    return [
        _judged(proposal, passed[number], calibrated.get(number), more.get(number))
        for number, proposal in enumerate(proposals)
    ]


def _case(scenario: Scenario, draws: dict[int, Draw]) -> Case:
    """The nominal part of each of the lengths required, and after these `TRIALS` parts of each as drawn.

    ``draws`` by the number of lengths, the same for all rigs.
    """
    lengths = np.array(scenario.judged_lengths)
    new = Joined((Nominal(lengths.size), Streams(1, 0, TRIALS * lengths.size)))
    draw = draws.setdefault(lengths.size, new)
    if lengths.size == 1:
        return Case(scenario, draw, ends=False)
    every = np.concatenate([lengths, np.repeat(lengths, TRIALS)])
    return Case(scenario, draw, with_references(scenario, {}, every, draw.trials), ends=False)


def _judged(
    proposal: Proposal,
    passed: pipeline.Measured,
    rigs: CalibratedRigs | None,
    of_rigs: pipeline.Measured | None,
) -> Remedy:
    """From the passages of `_case`, and those of calibrated ``rigs``, to figures of the worst length."""
    lengths = np.array(proposal.scenario.judged_lengths)
    k = lengths.size
    off = passed.readings[proposal.formula] - passed.true_length
    errors = off[k:].reshape(k, TRIALS)
    if rigs is not None and of_rigs is not None:
        errors = rigs.errors(of_rigs.readings[proposal.formula])
    found = []
    for length, error, outcome, each in zip(lengths, off[:k], passed.outcome[:k], errors, strict=True):
        read = each[~np.isnan(each)]
        spread = float(np.std(read)) if read.size else np.nan
        error = float(np.mean(read)) if proposal.calibrated and read.size else float(error)
        reach = float(np.quantile(np.abs(read), WITHIN)) if read.size else np.nan
        lost = 1.0 - read.size / each.size
        found.append(Remedy(proposal, error, spread, reach, lost, Outcome(int(outcome)), float(length)))
    return max(found, key=lambda r: np.inf if np.isnan(r.reach) else r.reach)
