"""What a study needs of a measurement: inputs that spread, and a way to evaluate trials.

A rig is one such model (``gatesim.studies.rig``); a formula of a textbook is another, so
published worked examples run through the very engine that judges a rig.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.pipeline import Measured
from gatesim.chain.reference import Calibration
from gatesim.chain.together import Case, run_all
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.correlation import Correlation, together
from gatesim.ground.draw import Draw
from gatesim.ground.level import Level
from gatesim.ground.nested import Layout
from gatesim.ground.outcome import Outcome
from gatesim.ground.quantity import Quantity

# The least that tells the levels apart: every trial more on a rig says less of how rigs differ
PARTS, PASSAGES = 2, 2

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

    @classmethod
    def of(cls, passed: Measured) -> "Trials":
        """What a study keeps of passages through the chain."""
        return cls(passed.readings, passed.true_length, passed.outcome)

    def errors(self) -> dict[str, Array]:
        """Reading minus true length per formula, (n,), NaN where there is no reading."""
        return {name: reading - self.true_length for name, reading in self.readings.items()}

    def part(self, rows: slice) -> "Trials":
        """Some of the trials."""
        return Trials(
            {name: reading[rows] for name, reading in self.readings.items()},
            self.true_length[rows],
            self.outcome[rows],
        )


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
        ``quantised=False`` leaves out the rounding to whole counts and all sampling, so that
        the result is a smooth function which can be differentiated.
        """
        ...


@runtime_checkable
class Sampled(Model, Protocol):
    """A measurement with stages that look at their input from time to time."""

    @property
    def sampling_stages(self) -> tuple[str, ...]:
        """Names of these stages."""
        ...

    def sampling_in(self, stages: Collection[str]) -> Model:
        """The same model, which without rounding still samples in these stages, and in no other."""
        ...


@runtime_checkable
class Noisy(Model, Protocol):
    """A measurement that knows how large its noises are."""

    @property
    def noise_sizes(self) -> Mapping[str, Quantity]:
        """Standard deviation of normal noises, by the name each is drawn under; not of all that are drawn."""
        ...


@runtime_checkable
class OfARig(Model, Protocol):
    """A measurement by the chain: rigs whose parts move alike are run together for less."""

    def case(self, values: Mapping[str, Scalar], draw: Draw, *, quantised: bool = True) -> Case:
        """What `Model.evaluate` runs with the same arguments."""
        ...


@runtime_checkable
class Calibrated(Model, Protocol):
    """A measurement that can be calibrated with reference parts."""

    def reference_lengths(self, count: int) -> Array:
        """Lengths of so many reference parts in m, (count,)."""
        ...

    def with_references(
        self, values: Mapping[str, Scalar], lengths: Array, trials: int
    ) -> Mapping[str, Scalar]:
        """Values of the inputs in so many trials, the last of them of parts of known ``lengths`` (m)."""
        ...


@runtime_checkable
class Prepared(Model, Protocol):
    """A measurement that a long study makes ready for it."""

    def prepared(self, trials: int, calibration: Calibration | None) -> Model:
        """The same for less work a trial, where that pays in so many trials; told by the arguments alone.

        ``calibration``: how rigs are calibrated besides; None if they are not.
        """
        ...


@runtime_checkable
class Correlated(Model, Protocol):
    """A measurement some of whose inputs are drawn together."""

    @property
    def correlations(self) -> tuple[Correlation, ...]:
        """Groups of inputs, each input in one at most."""
        ...


def correlations_of(model: Model) -> tuple[Correlation, ...]:
    """What is drawn together; nothing where the model does not say."""
    return model.correlations if isinstance(model, Correlated) else ()


@runtime_checkable
class Ranged(Model, Protocol):
    """A measurement of parts of many lengths, of which the worst counts."""

    def at_lengths(self) -> Mapping[float, Model]:
        """The measurement of each length (m); nothing where only one is asked for."""
        ...


def levels_of(model: Model) -> dict[str, Level]:
    """How often each input is drawn; new with every passage where nothing is said."""
    return {path: q.per or "passage" for path, q in model.inputs.items()}


def layout_of(model: Model) -> Layout:
    """Parts of a rig and passages of a part: repeated only where a level needs it to be told apart."""
    levels = set(levels_of(model).values())
    if not levels & {"rig", "part"}:
        return Layout()
    return Layout(PARTS if levels >= {"rig", "part"} else 1, PASSAGES)


def sample(model: Model, draw: Draw) -> dict[str, Scalar]:
    """Values of all inputs for one block of trials."""
    joint = together(draw, correlations_of(model))
    return {path: quantity.sample(joint, path) for path, quantity in model.inputs.items()}


def run(model: Model, draw: Draw, *, quantised: bool = True) -> Trials:
    """Draw the inputs and evaluate the model."""
    return model.evaluate(sample(model, draw), draw, quantised=quantised)


@dataclass(frozen=True)
class Run:
    """A model with its draws; ``quantised`` as `Model.evaluate` has it."""

    model: Model
    draw: Draw
    quantised: bool = True


def run_each(runs: Sequence[Run]) -> list[Trials]:
    """As `run` does with each; those of rigs are run together, since many move alike."""
    cases = []
    for each in runs:
        if not isinstance(each.model, OfARig):
            return [run(one.model, one.draw, quantised=one.quantised) for one in runs]
        values = sample(each.model, each.draw)
        cases.append(each.model.case(values, each.draw, quantised=each.quantised))
    return [Trials.of(passed) for passed in run_all(cases)]
