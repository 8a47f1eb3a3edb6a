"""Why a formula makes no length of a passage, in a few words."""

from gatesim.chain.pipeline import Measured
from gatesim.formula import FORMULAS
from gatesim.ground.outcome import Outcome


def why_no_reading(passed: Measured, name: str) -> str:
    """Why a formula makes no length of the first trial, in a few words."""
    outcome = Outcome(int(passed.outcome[0]))
    if not outcome.reads and outcome is not Outcome.NO_READING:
        return outcome.word
    over = passed.counted.overflowed
    if any(over[key][0, 0] for key in FORMULAS[name].registers):
        return Outcome.OVERFLOW.word
    lacking = FORMULAS[name].lacks(passed.counts, passed.rig.constants[name])
    return f"needs {lacking}" if lacking else "a count is zero"
