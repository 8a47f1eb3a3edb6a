"""An explanation as plain values."""

from typing import Any

from gatesim.explanation.breakdown import Breakdown
from gatesim.explanation.remedy import Remedies, Remedy
from gatesim.explanation.sentences import Facts, advice, cause, headline


def explain_json(found: Breakdown, about: Facts, tried: Remedies) -> dict[str, Any]:
    """Values for ``--json``: SI, None where there is none."""
    return {
        "scenario": about.scenario.title or about.scenario.file,
        "file": about.scenario.file,
        "formula": found.formula,
        "true_length_m": found.true_length,
        "reading_m": found.reading,
        "error_m": found.error,
        "parts": [
            {
                "cause": s.key,
                "name": s.name,
                "error_m": s.error,
                "low_m": _known(s.low),
                "high_m": _known(s.high),
            }
            for s in found.shares
        ],
        "rest_m": found.rest,
        "headline": headline(found),
        "reason": cause(found, about),
        "now": _remedy(tried.now, tried),
        "remedies": [_remedy(r, tried) for r in tried.tried],
        "wanted_m": tried.wanted,
        "cheapest": None if tried.cheapest is None else tried.cheapest.proposal.title,
        "advice": advice(tried),
    }


def _remedy(remedy: Remedy, tried: Remedies) -> dict[str, Any]:
    return {
        "change": remedy.proposal.title,
        "how": remedy.proposal.how,
        "takes": remedy.effort.words,
        "error_m": _known(remedy.error),
        "spread_m": _known(remedy.spread),
        "lost": remedy.lost,
        "outcome": remedy.outcome.word,
        "enough": tried.meets(remedy),
    }


def _known(value: float) -> float | None:
    return None if value != value else value
