"""How far chance moves a reading: all phases of a clock, a scan or a pulsed light."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from gatesim.chain import pipeline
from gatesim.chain.nominal import controller_in
from gatesim.ground.arrays import Array
from gatesim.ground.draw import Draw, Kind, Nominal
from gatesim.scenario.model import Scenario


@dataclass(frozen=True)
class _Phases(Draw):
    """Medians, except for the phases of these names, (n,) each."""

    phases: Mapping[str, Array]
    trials: int

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        if kind == "uniform" and name in self.phases:
            return self.phases[name]
        return Nominal(self.trials).drawn(kind, name, columns)


def phase_interval(
    scenario: Scenario, formula: str, real: pipeline.Measured, key: str, move: pipeline.Move
) -> tuple[float, float]:
    """Least and greatest change of the nominal reading (m) over the phases that an effect has.

    The reading is constant between the phases at which an edge meets a tick, so that one
    phase out of each stretch between two such meetings sees all there is. Both NaN for an
    effect without a phase.
    """
    steps = _steps(scenario, real, key, move)
    if not steps:
        return np.nan, np.nan
    grid = np.array(list(product(*(_between(step) for step in steps.values()))))
    phases = {name: grid[:, number] for number, name in enumerate(steps)}
    draw, held = _Phases(phases, len(grid)), controller_in(real)
    readings = pipeline.run(scenario, draw, move=move, controller=held).readings[formula]
    change = readings[~np.isnan(readings)] - real.readings[formula][0]
    if not change.size:
        return np.nan, np.nan
    return float(change.min()), float(change.max())


def _between(steps: Array) -> Array:
    """Middles of the stretches into which steps (k,) in [0, 1) cut the circle of phases."""
    edges = np.unique(steps)
    return np.asarray(np.mod(edges + 0.5 * np.diff(edges, append=edges[0] + 1.0), 1.0))


def _steps(scenario: Scenario, real: pipeline.Measured, key: str, move: pipeline.Move) -> dict[str, Array]:
    """Phases at which the reading may jump, by the name of the draw."""
    if key == "counting":
        return {"counter.phase": _counting(scenario, real, move)}
    scan = scenario.counter.timing.sampling()
    if key == "timing" and scan is not None:
        return {scan.draw: _meeting(real.filtered, scan.period.nominal)}
    if key == "sampling":
        return {
            f"sensor.sampling_phase@{gate}": _meeting((times,), period.nominal)
            for gate, times in enumerate(real.light[:2], start=1)
            if (period := scenario.sensor.of(gate).sampling_period) is not None
        }
    if key == "filter":
        lists: dict[str, tuple[float, tuple[Array, ...]]] = {}
        for gate, times in enumerate(real.sensed[:2], start=1):
            if (sampling := scenario.filter.sampling(f"filter@{gate}")) is not None:
                _, before = lists.get(sampling.draw, (0.0, ()))
                lists[sampling.draw] = sampling.period.nominal, (*before, times)
        return {draw: _meeting(together, period) for draw, (period, together) in lists.items()}
    return {}


def _meeting(lists: tuple[Array, ...], period: float) -> Array:
    times = np.concatenate([times[0] for times in lists])
    phases: Array = np.mod(times[np.isfinite(times)] / period, 1.0)
    return phases


def _counting(scenario: Scenario, real: pipeline.Measured, move: pipeline.Move) -> Array:
    """Phases of the count at which one of the registers takes its next step."""
    held = controller_in(real)
    exact = pipeline.run(scenario, Nominal(1), quantised=False, move=move, controller=held)
    progress = np.array([value[0] for value in vars(exact.counts).values()])
    progress = progress[np.isfinite(progress)]
    return scenario.counter.source.steps(progress)
