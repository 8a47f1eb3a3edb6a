"""The forward model of a fit: expected counts of a passage, and counts as they scatter."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from gatesim.chain import pipeline
from gatesim.chain.sampled import at_mean_delay, sampling_periods
from gatesim.counter.counter import REGISTERS
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw, Nominal
from gatesim.scenario import Scenario
from gatesim.shopfloor.fit.parameter import Parameter

ROUNDING = 16.0 * float(np.finfo(float).eps)


def steps_in(scenario: Scenario) -> float:
    """Longest sampling period in front of the counter in s: 0 where edges act at once."""
    return max((period.nominal for period in sampling_periods(scenario).values()), default=0.0)


def smooth(scenario: Scenario, varies: tuple[str, ...] = ()) -> Scenario:
    """The rig with every stage that samples at its mean delay, and no ripple of random phase."""
    smoothed = at_mean_delay(scenario)
    change: dict[str, object] = {}
    for force in scenario.forces:
        if any(f"{force.key}.{key}" in varies for key in force.random_phases()):
            change[force.key] = force.at_mean_phase()
    return smoothed.model_copy(update=change) if change else smoothed


@dataclass(frozen=True)
class Forward:
    """Counts as a function of the parameters' deviations and of the parts' lengths.

    ``varies`` are inputs drawn anew in each passage. With ``mass_follows`` a part's mass goes
    with its length, else every part has the scenario's.
    """

    scenario: Scenario
    parameters: tuple[Parameter, ...]
    varies: tuple[str, ...]
    mass_follows: bool = False

    @cached_property
    def smooth(self) -> Scenario:
        """The scenario that expected counts are computed with."""
        return smooth(self.scenario, self.varies)

    @cached_property
    def priors(self) -> Array:
        """Standard uncertainties beforehand, (k,), infinite for the unknowns."""
        return np.array([p.prior for p in self.parameters])

    @property
    def unknowns(self) -> int:
        """How many of the parameters are unknown; they come first."""
        return sum(p.unknown for p in self.parameters)

    def _values(
        self,
        scenario: Scenario,
        deviations: Array,
        lengths: Array,
        shifts: Mapping[str, float],
        moments: Array | float = 0.0,
    ) -> dict[str, Scalar]:
        inputs = scenario.inputs()
        values: dict[str, Scalar] = {"part.length": lengths}
        for column, parameter in enumerate(self.parameters):
            change = deviations[:, column]
            if parameter.trend:
                change = (parameter.nominal + change) * moments
            for name in parameter.moves:
                if name in inputs:  # a sampling period has no place in the smooth rig
                    values[name] = values.get(name, inputs[name].nominal) + change
        for name, shift in shifts.items():
            values[name] = values.get(name, inputs[name].nominal) + shift
        if self.mass_follows and "part.mass" in inputs:
            share = lengths / scenario.part.length.nominal
            values["part.mass"] = share * values.get("part.mass", inputs["part.mass"].nominal)
        return values

    def expected(
        self,
        deviations: Array,
        lengths: Array,
        shifts: Mapping[str, float] | None = None,
        moments: Array | float = 0.0,
    ) -> Array:
        """Expected counts (t, 4) of `REGISTERS` for deviations (t, k) and lengths (t,) in m.

        ``shifts`` are added to inputs; what has a trend is taken at the ``moments`` (t,). NaN
        where a register is not recorded.
        """
        values = self._values(self.smooth, deviations, lengths, shifts or {}, moments)
        return _registers(
            pipeline.run(self.smooth, Nominal(len(lengths)), values, quantised=False, ends=False)
        )

    def scattered(
        self,
        deviations: Array,
        lengths: Array,
        draw: Draw,
        *,
        quantised: bool,
        shifts: Mapping[str, Array] | None = None,
    ) -> Array:
        """Counts (t, 4) of single passages: jitter, phases and what varies are drawn."""
        inputs = self.scenario.inputs()
        values = self._values(self.scenario, deviations, lengths, {})
        for name, shift in (shifts or {}).items():
            values[name] = values.get(name, inputs[name].nominal) + shift
        for name in self.varies:
            spread = inputs[name].spread
            if spread is not None:
                values[name] = values.get(name, inputs[name].nominal) + spread.deviation(draw, name)
        return _registers(pipeline.run(self.scenario, draw, values, quantised=quantised, ends=False))

    def derivatives(
        self,
        deviations: Array,
        lengths: Array,
        shifts: Mapping[str, float] | None = None,
        moments: Array | float = 0.0,
        *,
        of_length_only: bool = False,
    ) -> tuple[Array, Array, Array]:
        """Expected counts (g, 4), slopes by parameter (g, 4, k) and by length (g, 4); one batch of trials.

        Central differences about the deviations (k,) for the lengths (g,).
        """
        k, g = (0 if of_length_only else len(self.parameters)), len(lengths)
        steps = np.array([p.step for p in self.parameters[:k]])
        nudges = np.zeros((2 * k + 3, len(self.parameters)))
        nudges[range(1, k + 1), range(k)], nudges[range(k + 1, 2 * k + 1), range(k)] = steps, -steps
        stretch = np.zeros(2 * k + 3)
        stretch[-2:] = 1e-5, -1e-5
        trial_lengths = (lengths[None, :] * (1.0 + stretch[:, None])).ravel()
        at = np.broadcast_to(moments, g)
        counts = self.expected(
            np.repeat(deviations + nudges, g, axis=0), trial_lengths, shifts, np.tile(at, len(nudges))
        )
        counts = counts.reshape(2 * k + 3, g, len(REGISTERS))
        change = counts[1 : k + 1] - counts[k + 1 : 2 * k + 1]
        # what differs by rounding alone does not differ
        change = np.where(np.abs(change) <= ROUNDING * np.abs(counts[0]), 0.0, change)
        slopes = change / (2.0 * steps[:, None, None])
        by_length = (counts[-2] - counts[-1]) / (2e-5 * lengths[:, None])
        return counts[0], np.moveaxis(slopes, 0, 2), by_length


def _registers(passed: pipeline.Measured) -> Array:
    return np.stack([getattr(passed.counts, name) for name in REGISTERS], axis=1)
