"""Physics simulator of parts passing light gates, and the length a counter makes of it."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from gatesim.prediction.predict import Prediction, predict
    from gatesim.scenario import Scenario, load

__all__ = ["Prediction", "Scenario", "load", "predict"]

_HOME = {
    "Prediction": "gatesim.prediction.predict",
    "Scenario": "gatesim.scenario",
    "load": "gatesim.scenario",
    "predict": "gatesim.prediction.predict",
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for: importing a submodule stays cheap."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)
