"""Figures of a Monte Carlo study, each with its own Monte Carlo error."""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from gatesim.ground.data import Keys
from gatesim.studies.plan import Plan
from gatesim.studies.ranks import RankCurve


@dataclass(frozen=True)
class Estimate:
    """A value and its Monte Carlo standard error, same unit; the error is NaN where it is not known."""

    value: float
    error: float

    KEYS: ClassVar[Keys] = {"value": "value", "error": "monte_carlo_error"}


@dataclass(frozen=True)
class Proportion:
    """``count`` of so many ``trials`` with one outcome, and the confidence interval of their share.

    Clopper-Pearson, exact for independent trials and conservative for Sobol points. ``effect``: variance
    of the share over that of independent trials (design effect), by which the sample is taken smaller
    (E. L. Korn and B. I. Graubard, 1998; from memory).
    """

    count: int
    trials: int
    effect: float = 1.0
    confidence: float = 0.95

    KEYS: ClassVar[Keys] = {
        "count": "count",
        "share": "share",
        "low": "low",
        "high": "high",
        "trials": None,
        "effect": None,
        "confidence": None,
    }

    @property
    def share(self) -> float:
        """Share of the trials."""
        return self.count / self.trials

    @property
    def low(self) -> float:
        """Lower end of the interval."""
        return self._end(0.0, (1.0 - self.confidence) / 2.0) if self.count else 0.0

    @property
    def high(self) -> float:
        """Upper end of the interval."""
        return self._end(1.0, 1.0 - (1.0 - self.confidence) / 2.0) if self.count < self.trials else 1.0

    def _end(self, more: float, p: float) -> float:
        from scipy.special import betaincinv  # deferred: costs start-up time, and few ask for it

        seen, missed = self.count / self.effect, (self.trials - self.count) / self.effect
        return float(betaincinv(seen + more, missed + 1.0 - more, p))


@dataclass(frozen=True)
class FormulaResult:
    """Errors (reading minus true length, m) of one formula, over the trials that gave a reading.

    ``low``/``high``: probabilistically symmetric coverage interval; ``shortest_*``: the shortest.
    ``resolution``: the bounded-memory summary puts the ends of these intervals no further off; it is
    part of their errors.
    Everything is NaN where there is no reading. ``good``: the yield, share of all trials that this
    formula reads while nothing went wrong.
    Standard deviations by level: ``repeatability`` (same part, same rig: JCGM 200, 2.20; ISO 5725-1),
    ``part_to_part`` on one rig, ``rig_to_rig``; their variances add up to that of ``uncertainty``.
    ``calibrated_bias``, ``calibrated``: bias and standard uncertainty left where every rig is
    calibrated with reference parts; NaN where the model cannot be.
    """

    readings: int
    bias: Estimate
    uncertainty: Estimate
    low: Estimate
    high: Estimate
    shortest_low: Estimate
    shortest_high: Estimate
    minimum: float
    maximum: float
    resolution: float
    curve: RankCurve
    good: Proportion
    repeatability: Estimate
    part_to_part: Estimate
    rig_to_rig: Estimate
    calibrated_bias: Estimate
    calibrated: Estimate

    KEYS: ClassVar[Keys] = {
        "readings": "readings",
        "bias": "bias",
        "uncertainty": "standard_uncertainty",
        "repeatability": "repeatability",
        "part_to_part": "part_to_part",
        "rig_to_rig": "rig_to_rig",
        "calibrated": "after_calibration",
        "calibrated_bias": "bias_after_calibration",
        "symmetric_interval": "symmetric_interval",
        "shortest_interval": "shortest_interval",
        "extremes": "extremes",
        "resolution": "interval_resolution",
        "good": "yield",
        "low": None,
        "high": None,
        "shortest_low": None,
        "shortest_high": None,
        "minimum": None,
        "maximum": None,
        "curve": None,
    }

    @property
    def symmetric_interval(self) -> tuple[Estimate, Estimate]:
        """Ends of the probabilistically symmetric coverage interval."""
        return self.low, self.high

    @property
    def shortest_interval(self) -> tuple[Estimate, Estimate]:
        """Ends of the shortest coverage interval."""
        return self.shortest_low, self.shortest_high

    @property
    def extremes(self) -> tuple[float, float]:
        """Least and greatest error."""
        return self.minimum, self.maximum


class OfOneFormula(ABC):
    """Short names for the figures of the one formula that is looked at; m."""

    @property
    @abstractmethod
    def figures(self) -> FormulaResult:
        """All figures of the formula."""

    @property
    def bias(self) -> float:
        """Mean error of the readings; NaN where nothing is read."""
        return self.figures.bias.value

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of a reading."""
        return self.figures.uncertainty.value

    @property
    def low(self) -> float:
        """Lower end of the symmetric coverage interval of the error."""
        return self.figures.low.value

    @property
    def high(self) -> float:
        """Upper end of the symmetric coverage interval of the error."""
        return self.figures.high.value


@dataclass(frozen=True)
class StudyResult:
    """Result of a study. ``ended`` says why it stopped: complete, tolerance reached, interrupted, ..."""

    plan: Plan
    trials: int
    formulas: Mapping[str, FormulaResult]
    outcomes: Mapping[str, Proportion]
    true_length: float
    true_length_varies: bool
    ended: str

    KEYS: ClassVar[Keys] = {
        "trials": "trials",
        "ended": "ended",
        "plan": "",
        "true_length": "true_length",
        "formulas": "error",
        "outcomes": "outcomes",
        "true_length_varies": None,
    }
