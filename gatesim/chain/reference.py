"""The rig at hand calibrated with reference parts: one line for every rig, as a shop does it.

The mean readings of parts of known length are fitted by a straight line over those lengths
(ordinary least squares, as ISO 11095 has it), which is then applied the other way round.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.correlation import together
from gatesim.ground.draw import Streams
from gatesim.ground.errors import InputError
from gatesim.ground.nested import Layout, Nested, References
from gatesim.scenario.model import Scenario

REFERENCES = (0.9, 1.1)
"""Lengths of the shortest and the longest reference part over the part's, where nothing else is said."""


@dataclass(frozen=True)
class Calibration:
    """How a rig is calibrated: ``passages`` of each of ``parts`` reference parts."""

    parts: int = 2
    passages: int = 5

    @property
    def text(self) -> str:
        """As a user writes it."""
        return f"{self.parts}x{self.passages}"

    @property
    def layout(self) -> Layout:
        """The passages of one rig."""
        return Layout(self.parts, self.passages)


AS_USUAL = Calibration()

MOST_PASSAGES = 1000


def parse_calibration(text: str) -> Calibration:
    """Read ``2x5``: two reference parts, five passages of each. Raises InputError."""
    found = re.fullmatch(r"\s*(\d{1,4})\s*[x×]\s*(\d{1,4})\s*", text)
    parts, passages = (int(found[1]), int(found[2])) if found else (0, 0)
    if not (parts >= 1 and passages >= 1 and parts * passages <= MOST_PASSAGES):
        raise InputError(
            f"--calibration: given {text!r}, expected reference parts x passages of each such as 2x5, "
            f"at most {MOST_PASSAGES} passages in all"
        )
    return Calibration(parts, passages)


def reference_lengths(scenario: Scenario, count: int) -> Array:
    """Lengths (count,) in m, evenly spaced about the part's, or over the range that is required.

    A single one is as long as the part.
    """
    nominal, judged = scenario.part.length.nominal, scenario.judged_lengths
    if count == 1:
        return np.full(1, nominal)
    if len(judged) > 1:
        return np.linspace(judged[0], judged[-1], count)
    return nominal * np.linspace(*REFERENCES, count)


def with_references(
    scenario: Scenario, values: Mapping[str, Scalar], lengths: Array, n: int
) -> dict[str, Scalar]:
    """``values`` of inputs in n trials, the last of which are to be parts of these known ``lengths`` (m).

    A reference part is as much heavier as it is longer. Values are SI, (n,) or shared.
    """
    nominal = scenario.part.length.nominal
    found = dict(values)
    length = np.array(np.broadcast_to(values.get("part.length", nominal), (n,)), float)
    length[n - lengths.size :] = lengths
    found["part.length"] = length
    if scenario.part.mass is not None:
        mass = np.array(np.broadcast_to(values.get("part.mass", scenario.part.mass.nominal), (n,)), float)
        mass[n - lengths.size :] *= lengths / nominal
        found["part.mass"] = mass
    return found


def lines(readings: Array, lengths: Array) -> tuple[Array, Array]:
    """Gain and zero (m) of each rig, (rigs,), from readings (rigs, parts, passages) of ``lengths`` (parts,).

    NaN for a rig whose reference parts are not all read, or read the same.
    """
    read = ~np.isnan(readings)
    count = read.sum(axis=2)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.where(read, readings, 0.0).sum(axis=2) / count
        if lengths.size == 1:
            return np.ones(len(means)), lengths[0] - means[:, 0]
        off = lengths - lengths.mean()
        slope = means @ off / (off @ off)
        gain = np.where(slope > 0.0, 1.0 / slope, np.nan)
        return gain, lengths.mean() - gain * means.mean(axis=1)


@dataclass(frozen=True)
class CalibratedRigs:
    """Rigs that are each drawn, calibrated as usual, and then passed one part of each of ``lengths`` (m).

    ``draw`` and ``values`` of all their passages, those of the reference parts last.
    """

    lengths: Array
    known: Array
    draw: Nested
    values: Mapping[str, Scalar]

    def errors(self, readings: Array) -> Array:
        """Errors (lengths, rigs) in m of the parts, each by its rig's own line, from all readings (n,)."""
        layout, rigs = AS_USUAL.layout, self.draw.size // self.lengths.size
        references = readings[self.draw.size :].reshape(rigs, layout.parts, layout.passages)
        gain, zero = lines(references, self.known)
        read = readings[: self.draw.size].reshape(rigs, self.lengths.size)
        return np.asarray((gain[:, None] * read + zero[:, None] - self.lengths).T)


def calibrated_rigs(scenario: Scenario, lengths: Array, rigs: int, seed: int) -> CalibratedRigs:
    """So many rigs to be calibrated, and then to be passed parts of ``lengths``."""
    layout = AS_USUAL.layout
    levels = {name: q.per or "passage" for name, q in scenario.inputs().items() if q.spread is not None}
    known = reference_lengths(scenario, layout.parts)
    others = References(rigs, layout, Streams(seed, 1, rigs))
    draw = Nested(Streams(seed, 0, rigs), Layout(lengths.size, 1), levels, rigs * lengths.size, others)
    every = np.concatenate([np.tile(lengths, rigs), np.tile(np.repeat(known, layout.passages), rigs)])
    joint = together(draw, scenario.correlations())
    values = {name: scenario.inputs()[name].sample(joint, name) for name in levels}
    return CalibratedRigs(lengths, known, draw, with_references(scenario, values, every, draw.trials))
