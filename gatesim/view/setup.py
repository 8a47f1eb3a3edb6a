"""One of several set-ups that are compared: what it reads, how far off, and how surely."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gatesim.prediction.predict import Prediction, Reading
from gatesim.scenario import Scenario
from gatesim.studies.required import Judged
from gatesim.studies.result import FormulaResult, OfOneFormula, StudyResult


@dataclass(frozen=True)
class SetUp(OfOneFormula):
    """One of the rigs: its nominal passage, a study of it, and what it costs (NaN where nobody said).

    Figures are of ``formula``, which ``required`` holds against the requirement; lengths in m, errors are
    reading minus true length.
    """

    scenario: Scenario
    prediction: Prediction
    study: StudyResult
    formula: str
    required: Judged | None
    cost: float

    KEYS: ClassVar = {
        "name": "scenario",
        "file": "file",
        "formula": "formula",
        "true_length": "true_length",
        "outcome": "outcome",
        "reading": "reading",
        "error": "error_of_nominal_part",
        "bias": "bias",
        "uncertainty": "standard_uncertainty",
        "interval": "interval_95_percent",
        "yielded": "yield",
        "allowed": "allowed_error",
        "within": "share_within_allowed_error",
        "met": "requirement_met",
        "cost": "cost",
        "formulas": "formulas",
        "explanation": "explanation",
        "scenario": None,
        "prediction": None,
        "study": None,
        "required": None,
    }

    @property
    def name(self) -> str:
        """Title of the scenario, else its file."""
        return self.prediction.scenario

    @property
    def file(self) -> str:
        """File of the scenario."""
        return self.prediction.file

    @property
    def true_length(self) -> float:
        """Length of the nominal part."""
        return self.prediction.true_length_m

    @property
    def outcome(self) -> str:
        """What became of the nominal part."""
        return self.prediction.outcome

    @property
    def explanation(self) -> str:
        """Why it reads what it reads."""
        return self.prediction.explanation

    @property
    def _nominal(self) -> Reading:
        return self.prediction.reading(self.formula)

    @property
    def reading(self) -> float | None:
        """Reading of the nominal part; None where there is none."""
        return self._nominal.length_m

    @property
    def error(self) -> float | None:
        """Error of the nominal reading."""
        return self._nominal.error_m

    @property
    def figures(self) -> FormulaResult:
        """All figures of the formula in the study."""
        return self.study.formulas[self.formula]

    @property
    def interval(self) -> tuple[float, float]:
        """Ends of the symmetric 95 % coverage interval of the error."""
        return self.low, self.high

    @property
    def yielded(self) -> float:
        """Share of parts that the formula reads while nothing goes wrong."""
        return self.figures.good.share

    @property
    def allowed(self) -> float:
        """Error that the scenario's requirement allows to the nominal part; NaN where none is stated."""
        return self.scenario.requirement.allowed(self.true_length)

    @property
    def within(self) -> float:
        """Share of parts that are read with no more error than allowed; NaN where nothing is required."""
        if math.isnan(self.allowed):
            return math.nan
        if not self.figures.readings:
            return 0.0
        inside = self.figures.curve.counts(np.array([-self.allowed, self.allowed]))
        return float(inside[0]) / self.study.trials

    @property
    def met(self) -> bool | None:
        """Whether the requirement is met at the worst of its lengths; None where nothing is required."""
        return None if self.required is None else self.required.met

    @property
    def formulas(self) -> Mapping[str, Mapping[str, float]]:
        """Bias, standard uncertainty and 95 % interval of every formula of the rig."""
        return {
            name: {
                "bias": f.bias.value,
                "standard_uncertainty": f.uncertainty.value,
                "low": f.low.value,
                "high": f.high.value,
            }
            for name, f in self.study.formulas.items()
        }
