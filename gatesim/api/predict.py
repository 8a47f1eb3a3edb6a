"""What one nominal passage comes to."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from gatesim.api.result import PicturedLengths, at_work
from gatesim.prediction import predict as passage
from gatesim.scenario import Scenario

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Prediction(PicturedLengths, passage.Prediction):
    """The measurement of one part; the picture is the part's speed and what the formula makes of it."""

    UNITS: ClassVar = {"true_length_m": "m"}

    def text(self, unit: str | None = None) -> str:
        """Outcome and reason, the gates, the counts and every formula's reading."""
        from gatesim.view.lengthunit import unit_of
        from gatesim.view.predictiontext import single

        return single(self, unit_of(unit))

    def plot(self, ax: "Axes | None" = None, unit: str | None = None) -> "Axes":
        """Speed over time at gate 1, the length as the area below it, and the formula's rectangle."""
        from gatesim.explanation.area import speed_curve
        from gatesim.view.lengthunit import unit_of
        from gatesim.view.motionchart import speed_chart

        return speed_chart(speed_curve(self.passage), ax, unit_of(unit))


@at_work("predicting")
def predict(scenario: Scenario) -> Prediction:
    """Run one nominal passage, every random draw at its median."""
    return Prediction.of(passage.predict(scenario))


def side_by_side(*predictions: Prediction, unit: str | None = None) -> str:
    """Several predictions as text, one row each."""
    from gatesim.view.lengthunit import unit_of
    from gatesim.view.predictiontext import side_by_side

    return side_by_side(predictions, unit_of(unit))
