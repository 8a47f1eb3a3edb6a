"""Physics simulator of parts passing light gates, and the length a counter makes of it."""

from gatesim.prediction import Prediction, predict
from gatesim.scenario import Scenario, load

__all__ = ["Prediction", "Scenario", "load", "predict"]
