"""A pretrial before the full simulation: candidates that are surely beaten leave early.

Successive elimination with paired comparisons; ranking and selection has much on the like,
e.g. S.-H. Kim and B. L. Nelson, ACM TOMACS 11 (2001) 251 (from memory; the rule here is a
plain Bonferroni one).
"""

from collections.abc import Sequence
from dataclasses import replace

from gatesim.studies.choice.candidate import Candidate
from gatesim.studies.choice.compare import compare
from gatesim.studies.choice.evaluate import Evaluation, Round

PRETRIAL = 10
"""The pretrial has one in so many of the trials."""

LEAST = 200
"""Fewest trials of a part length in the pretrial, so that their mean is nearly normal."""

CONFIDENCE = 0.95
"""That no candidate of the whole field was dropped by chance."""

Run = tuple[Candidate, Evaluation]


def pretrial_of(round_: Round, lengths: int) -> Round | None:
    """The pretrial before a round; None where it would not save much."""
    trials = max(round_.trials // PRETRIAL, LEAST * lengths)
    return replace(round_, trials=trials) if 2 * trials <= round_.trials else None


def beaten(field: Sequence[Run], least_yield: float) -> set[int]:
    """Numbers of the candidates that another, not dearer one beats for sure.

    Each is compared with the one of least uncertainty among those not dearer that reach the
    yield. One-sided, corrected for all pairs of the field, since the other was picked for
    being good: with the probability `CONFIDENCE` nobody is dropped who is the better one.
    """
    running = [(c, e) for c, e in field if e.figures is not None and e.errors is not None]
    pairs = max(len(running) * (len(running) - 1) // 2, 1)
    best: Evaluation | None = None
    dropped = set()
    for candidate, run in sorted(running, key=lambda item: (item[0].cost, _uncertainty(item[1]))):
        assert run.figures is not None
        assert run.errors is not None
        if best is not None:
            assert best.figures is not None
            assert best.errors is not None
            worst = (best.figures.worst, run.figures.worst)
            found = compare(best.errors, run.errors, worst, pairs, run.each)
            if found.difference > 0.0 and found.confidence >= CONFIDENCE:
                dropped.add(candidate.number)
        reaches = run.figures.least_yield >= least_yield
        if reaches and (best is None or _uncertainty(run) < _uncertainty(best)):
            best = run
    return dropped


def _uncertainty(run: Evaluation) -> float:
    assert run.figures is not None
    return run.figures.uncertainty
