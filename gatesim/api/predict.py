"""What one nominal passage comes to."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from gatesim.api.result import Pictured, at_work
from gatesim.prediction import predict as passage
from gatesim.scenario import Scenario

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Prediction(Pictured, passage.Prediction):
    """The measurement of one part; the picture is the part's speed and what the formula makes of it."""

    UNITS: ClassVar = {"true_length_m": "m"}

    def __str__(self) -> str:
        from gatesim.view.predictiontext import single

        return single(self)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Speed over time at gate 1, the length as the area below it, and the formula's rectangle."""
        from gatesim.explanation.area import speed_curve
        from gatesim.view.motionchart import speed_chart

        return speed_chart(speed_curve(self.passage), ax)


@at_work("predicting")
def predict(scenario: Scenario) -> Prediction:
    """Run one nominal passage, every random draw at its median."""
    return Prediction.of(passage.predict(scenario))


def compare(*predictions: Prediction) -> str:
    """Several predictions side by side, as text."""
    from gatesim.view.predictiontext import comparison

    return comparison(predictions)
