"""A candidate with its figures, as it is listed."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.studies.choice.candidate import Candidate
from gatesim.studies.choice.compare import Comparison
from gatesim.studies.choice.evaluate import Evaluation
from gatesim.studies.choice.figures import Check, checks_of
from gatesim.studies.choice.model import WantedTable


@dataclass(frozen=True)
class Described:
    """What a simulated candidate comes to; SI, arrays (k,) over the part lengths."""

    lengths: Array
    bias: Array
    std: Array
    rms: Array
    trials_a_length: int
    good: Array
    worst_length: float
    rms_error: float
    rms_error_standard_error: float
    busy_time: float
    calibration: Mapping[str, float]
    checks: tuple[Check, ...]

    KEYS: ClassVar[Keys] = {
        "lengths": "lengths",
        "bias": "bias",
        "std": "std",
        "rms": "rms",
        "trials_a_length": "trials_a_length",
        "good": "yield",
    }


@dataclass(frozen=True)
class Rejected:
    """Why a candidate was not simulated."""

    rejected: str


@dataclass(frozen=True)
class Description:
    """Alternatives, values with their units and cost of a candidate, and what became of it."""

    options: Mapping[str, str]
    values: Mapping[str, str]
    cost: float
    result: Described | Rejected

    KEYS: ClassVar[Keys] = {"options": "options", "values": "values", "cost": "cost", "result": ""}


@dataclass(frozen=True)
class Finalist:
    """A candidate of the final round; ``against_first``: the first finalist compared with it."""

    candidate: Description
    pareto: bool
    against_first: Comparison | None

    KEYS: ClassVar[Keys] = {"candidate": ""}


def describe(candidate: Candidate, evaluation: Evaluation, wanted: WantedTable) -> Description:
    """List a candidate."""
    values = {path: f"{v!r} {candidate.units[path]}".strip() for path, v in candidate.values.items()}
    return Description(dict(candidate.picks), values, candidate.cost, _became(evaluation, wanted))


def _became(evaluation: Evaluation, wanted: WantedTable) -> Described | Rejected:
    figures, (gain, zero) = evaluation.figures, evaluation.line
    if figures is None:
        return Rejected(evaluation.refusal)
    return Described(
        lengths=figures.lengths,
        bias=figures.bias,
        std=figures.std,
        rms=figures.rms,
        trials_a_length=figures.trials,
        good=figures.good / figures.trials,
        worst_length=float(figures.lengths[figures.worst]),
        rms_error=figures.uncertainty,
        rms_error_standard_error=float(figures.rms_error[figures.worst]),
        busy_time=evaluation.busy,
        calibration={"gain": gain, "zero": zero},
        checks=checks_of(figures, wanted),
    )
