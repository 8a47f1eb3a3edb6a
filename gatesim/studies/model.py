"""What a study needs of a measurement: inputs that spread, and a way to evaluate trials.

A rig is one such model (``gatesim.studies.rig``); a formula of a textbook is another, so
published worked examples run through the very engine that judges a rig.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw
from gatesim.ground.outcome import Outcome
from gatesim.ground.quantity import Quantity

# Outcome code -> word
WORDS = {int(outcome): outcome.word for outcome in Outcome}


@dataclass(frozen=True)
class Trials:
    """Results of n trials.

    ``readings``: per formula (n,), in m, NaN where the controller obtains none.
    ``true_length``: (n,), in m. ``outcome``: (n,) codes of `gatesim.ground.outcome.Outcome`.
    """

    readings: Mapping[str, Array]
    true_length: Array
    outcome: NDArray[np.int64]

    def errors(self) -> dict[str, Array]:
        """Reading minus true length per formula, (n,), NaN where there is no reading."""
        return {name: reading - self.true_length for name, reading in self.readings.items()}


class Model(Protocol):
    """A measurement to be studied. Must be picklable to run on other processes."""

    @property
    def inputs(self) -> Mapping[str, Quantity]:
        """The quantities that have a spread, by path."""
        ...

    @property
    def identity(self) -> str:
        """Text that changes whenever the results would (a state file is tied to it)."""
        ...

    def evaluate(self, values: Mapping[str, Scalar], draw: Draw, *, quantised: bool = True) -> Trials:
        """Evaluate ``draw.trials`` trials with these values of the inputs (SI).

        Noise that is no input (jitter, clock phase, ...) is drawn inside, by name.
        ``quantised=False`` leaves out the rounding to whole counts, so that the
        result is a smooth function which can be differentiated.
        """
        ...


def sample(model: Model, draw: Draw) -> dict[str, Scalar]:
    """Values of all inputs for one block of trials."""
    return {path: quantity.sample(draw, path) for path, quantity in model.inputs.items()}


def run(model: Model, draw: Draw, *, quantised: bool = True) -> Trials:
    """Draw the inputs and evaluate the model."""
    return model.evaluate(sample(model, draw), draw, quantised=quantised)
