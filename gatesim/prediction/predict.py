"""One rig, one passage: the pipeline with every draw at its median."""

from dataclasses import dataclass
from typing import Any, ClassVar

from gatesim.chain import pipeline
from gatesim.chain.account.noreading import why_no_reading
from gatesim.chain.account.outcomesentence import explain_outcome
from gatesim.chain.nominal import nominal_passage
from gatesim.formula import FORMULAS
from gatesim.ground.arrays import first_of
from gatesim.ground.data import Keys
from gatesim.ground.outcome import Outcome
from gatesim.ground.quantity import registry
from gatesim.motion import passage
from gatesim.prediction.devices import Device, devices, listed
from gatesim.scenario.model import Scenario


@dataclass(frozen=True)
class Crossing:
    """When and how fast the part's ends pass a gate; SI, None where they never do."""

    gate: int
    position_m: float
    front_s: float | None
    rear_s: float | None
    front_speed_m_per_s: float | None
    rear_speed_m_per_s: float | None


@dataclass(frozen=True)
class Reading:
    """What one formula makes of the counts; None where it cannot, with the reason."""

    formula: str
    length_m: float | None
    error_m: float | None
    needs: str
    reason: str


@dataclass(frozen=True)
class Prediction:
    """The measurement of one part, SI throughout; ``passage`` holds every stage as arrays."""

    scenario: str
    file: str
    true_length_m: float
    outcome: str
    explanation: str
    crossings: tuple[Crossing, ...]
    counts: dict[str, int | None]
    readings: tuple[Reading, ...]
    devices: tuple[Device, ...]
    passage: pipeline.Measured

    KEYS: ClassVar[Keys] = {"passage": None, "devices": None, "figures": ""}

    def reading(self, formula: str | None = None) -> Reading:
        """The reading of a formula, or of the one in charge. Raises KeyError."""
        if formula is None:
            return self.readings[0]
        for reading in self.readings:
            if reading.formula == formula:
                return reading
        raise KeyError(formula)

    def length(self, formula: str | None = None) -> Any:
        """The reading as a pint quantity in mm; NaN where there is none."""
        value = self.reading(formula).length_m
        return registry().Quantity(float("nan") if value is None else value, "m").to("mm")

    @property
    def figures(self) -> dict[str, dict[str, Any]]:
        """Figures of each device and where it acts, by its key."""
        return listed(self.devices)


def predict(scenario: Scenario, move: pipeline.Move = passage) -> Prediction:
    """Run one nominal passage through the pipeline; ``move`` as `gatesim.chain.pipeline.run` has it."""
    passed = nominal_passage(scenario, move)
    return told(scenario, passed, devices(scenario, passed, move))


def told(scenario: Scenario, passed: pipeline.Measured, along: tuple[Device, ...] = ()) -> Prediction:
    """What a nominal passage that was run comes to; ``along``: what there is to tell of the forces."""
    return Prediction(
        scenario=scenario.title or scenario.file,
        file=scenario.file,
        true_length_m=float(passed.true_length[0]),
        outcome=Outcome(int(passed.outcome[0])).word,
        explanation=explain_outcome(scenario, passed),
        crossings=tuple(_crossing(passed, gate) for gate in range(len(passed.rig.gates))),
        counts=_counts(passed),
        readings=tuple(_reading(passed, name) for name in passed.readings),
        devices=along,
        passage=passed,
    )


def _known(value: float) -> float | None:
    return None if value != value else float(value)


def _crossing(passed: pipeline.Measured, gate: int) -> Crossing:
    front, rear = passed.front[gate], passed.rear[gate]
    motion = passed.motion
    return Crossing(
        gate=gate + 1,
        position_m=first_of(passed.rig.gates[gate]),
        front_s=_known(motion.time[0, front]),
        rear_s=_known(motion.time[0, rear]),
        front_speed_m_per_s=_known(motion.speed[0, front]),
        rear_speed_m_per_s=_known(motion.speed[0, rear]),
    )


def _counts(passed: pipeline.Measured) -> dict[str, int | None]:
    counts = passed.counts
    return {key: None if value[0] != value[0] else int(value[0]) for key, value in vars(counts).items()}


def _reading(passed: pipeline.Measured, name: str) -> Reading:
    length = _known(passed.readings[name][0])
    error = None if length is None else length - float(passed.true_length[0])
    reason = "" if length is not None else why_no_reading(passed, name)
    return Reading(name, length, error, FORMULAS[name].needs, reason)
