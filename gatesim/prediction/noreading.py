"""Why a formula makes no length of a passage, in a few words."""

import numpy as np

from gatesim.chain.pipeline import Passed
from gatesim.formula import FORMULAS
from gatesim.ground.outcome import Outcome

_WITHOUT = {
    "rearm": "a third gate",
    "tick": "a clock",
    "pitch": "an encoder",
    "acceleration": "a clock and an acceleration",
    "release_distance": "a release from rest, without launch or belt",
    "rear_capture": "the trailing edge at gate 2 before the counter is re-armed",
    "third_capture": "the leading edge at gate 3",
}


def why_no_reading(passed: Passed, name: str) -> str:
    """Why a formula makes no length of the first trial, in a few words."""
    formula = FORMULAS[name]
    outcome = Outcome(int(passed.outcome[0]))
    if not outcome.reads and outcome is not Outcome.NO_READING:
        return outcome.word
    missing = formula.missing(passed.rig.constants)
    lost = next((key for key in formula.registers if np.isnan(getattr(passed.counts, key)[0])), "")
    reason = missing or lost
    return f"needs {_WITHOUT.get(reason, reason)}" if reason else "a count is zero"
