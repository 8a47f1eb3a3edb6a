"""A change to a rig, and what it takes."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property
from typing import Any

from gatesim.chain import pipeline
from gatesim.chain.nominal import nominal_passage
from gatesim.ground.suggestion import Suggestion
from gatesim.motion import passage
from gatesim.scenario.model import Scenario
from gatesim.scenario.reader import from_raw
from gatesim.scenario.validated import raw_with

LINE_IN_CHARGE = ("formula.gain", "formula.zero")
"""Keys of the calibration line that belongs to whatever formula is in charge."""


class Effort(IntEnum):
    """What a change takes, the least first."""

    SOFTWARE = 0
    MOVE = 1
    BUY = 2
    REBUILD = 3

    @property
    def words(self) -> str:
        """For people."""
        return ("software only", "move a gate or the path", "buy a part", "build another machine")[self]


@dataclass(frozen=True)
class Proposal:
    """A changed rig to try: ``title`` what is done, ``how`` what goes with it.

    ``calibrated``: every rig at hand is, by itself, whatever the scenario's own line.
    """

    effort: Effort
    title: str
    how: str
    scenario: Scenario
    formula: str
    calibrated: bool = False


@dataclass(frozen=True)
class Present:
    """The rig as it is, under one formula, with what proposals start from; SI.

    ``move`` as `gatesim.chain.pipeline.run` has it.
    """

    scenario: Scenario
    formula: str
    move: pipeline.Move = passage

    @cached_property
    def passed(self) -> pipeline.Measured:
        """The nominal part's passage."""
        return nominal_passage(self.scenario, self.move)

    @property
    def length(self) -> float:
        """Nominal length in m."""
        return self.scenario.part.length.nominal

    @property
    def speed(self) -> float:
        """Speed of the leading end at gate 1 in m/s."""
        return float(self.passed.motion.speed[0, self.passed.front[0]])

    def with_raw(self, changes: Mapping[str, Any], *, drop: tuple[str, ...] = ()) -> Scenario:
        """The scenario with values replaced and keys left out, by path. Raises InputError."""
        raw = self.scenario.raw
        for path, value in changes.items():
            raw = raw_with(raw, path, value)
        for path in drop:
            raw = _without(raw, path)
        return from_raw(raw, self.scenario.file)

    def proposal(
        self,
        effort: Effort,
        title: str,
        how: str,
        changes: Mapping[str, Any],
        *,
        drop: tuple[str, ...] = (),
        formula: str = "",
    ) -> Proposal:
        """A proposal that changes keys of the scenario. Raises InputError."""
        return Proposal(effort, title, how, self.with_raw(changes, drop=drop), formula or self.formula)

    def suggested(self, effort: Effort, of: Suggestion, *, formula: str = "") -> Proposal:
        """A proposal that a member of a family makes for itself. Raises InputError."""
        effort = Effort.REBUILD if of.another_machine else effort
        return self.proposal(effort, of.title, of.how, of.changes, drop=of.drop, formula=formula)


def _without(raw: Mapping[str, Any], path: str) -> dict[str, Any]:
    key, _, rest = path.partition(".")
    if not rest:
        return {name: value for name, value in raw.items() if name != key}
    return {**raw, key: _without(raw[key], rest)} if isinstance(raw.get(key), dict) else dict(raw)
