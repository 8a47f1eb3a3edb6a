"""A rig fitted to a record of its edges, in order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.shopfloor.edges.chatter import ChatterSeen
from gatesim.shopfloor.edges.cut import Cut, chatter_in, cut, sensed_of, step_of
from gatesim.shopfloor.edges.filters import FilterRange, filters_that_clean, filters_that_make
from gatesim.shopfloor.edges.jitter import JitterSeen, Repeats, jitter_seen
from gatesim.shopfloor.edges.log import REGISTERS, as_recorded, log_of, own_edges, times_of
from gatesim.shopfloor.edgetimes import GatePassage, Record
from gatesim.shopfloor.fit.fit import advised, estimate
from gatesim.shopfloor.fit.forward import Forward
from gatesim.shopfloor.fit.noise import simulated
from gatesim.shopfloor.fit.parameter import fixed, varying
from gatesim.shopfloor.fit.result import Fit, FitOptions
from gatesim.shopfloor.log import BadRow

NOISE = ("sensor.jitter", "sensor.chatter", "filter")
"""What a record of edges tells beside the quantities of the motion, by what to ask for."""


@dataclass(frozen=True)
class EdgeNoise:
    """What a record shows apart from the motion; ``step`` of its time stamps in s.

    ``used`` passages, ``apart`` those that are not, and why. ``jitter``: None where no passages repeat
    each other. ``made_by``: filters that make the input's edges of the sensor's, None without a channel of
    the input; ``cleaned_by``: filters that would leave a part's own edges alone, where others are there.
    """

    step: float
    used: int
    apart: tuple[BadRow, ...]
    jitter: JitterSeen | None
    chatter: ChatterSeen
    made_by: tuple[FilterRange, ...] | None
    cleaned_by: tuple[FilterRange, ...]


@dataclass(frozen=True)
class EdgeFit:
    """``noise``, and ``motion`` where a quantity of it was asked for; ``asked``: which of `NOISE` were."""

    scenario: Scenario
    record: Record
    asked: tuple[str, ...]
    noise: EdgeNoise
    motion: Fit | None


def fit_edges(
    scenario: Scenario,
    record: Record,
    filtered: Sequence[Mapping[int, GatePassage]] | None,
    reference: float | None,
    options: FitOptions,
) -> EdgeFit:
    """Estimate from the passages of a record; ``filtered``: the same as the input has them behind its filter.

    ``reference`` (m): the length of the part in all passages, None where each has a part of its own.
    Raises InputError.
    """
    asked = tuple(name for name in options.unknown if name in NOISE)
    # nothing is corrected, so that no row need be held out to judge by
    moving = replace(options, unknown=[n for n in options.unknown if n not in NOISE], held_out=0.0)
    found, bad = cut(record.passages, own_edges(scenario))
    step = step_of(np.array([t for p in record.passages for seen in p.values() for t in seen.edges]))
    longest = max((max(times_of(passage).values(), default=0.0) for passage in found), default=1.0)
    seen = as_recorded(scenario, step, longest, None)
    log = log_of(record.file, found, bad, 1.0 / _tick(seen), reference)
    jitter = None if reference is None else _jitter(seen, found, reference, moving)
    chatter = chatter_in(record, found)
    noise = EdgeNoise(
        step,
        len(found),
        tuple(bad),
        jitter,
        chatter,
        None if filtered is None else _made_by(record, filtered, found, step),
        filters_that_clean(sensed_of(record, found), step) if chatter.pulses else (),
    )
    _check(record.file, asked, noise)
    motion = None
    if moving.unknown:
        known = jitter.jitter.value if jitter is not None and "sensor.jitter" in asked else None
        motion = advised(estimate(as_recorded(scenario, step, longest, known), log, moving))
    return EdgeFit(scenario, record, asked, noise, motion)


def _tick(scenario: Scenario) -> float:
    return scenario.counter.source.tick


def _jitter(
    scenario: Scenario, found: Sequence[Cut], length: float, options: FitOptions
) -> JitterSeen | None:
    """From passages that have the same registers, what varies and samples taken as the scenario has it."""
    steady = as_recorded(scenario, _tick(scenario), 1e-3, 0.0)
    varies = varying(steady, options.varies)
    forward = Forward(steady, fixed(steady, varies), varies)
    at = np.zeros(len(forward.parameters))
    counts = simulated(forward, at, np.array([length]), options.draws, options.seed).row_covariance[0]
    other = counts * _tick(steady) ** 2
    kinds: dict[tuple[str, ...], list[list[float]]] = {}
    for passage in found:
        times = times_of(passage)
        kinds.setdefault(tuple(times), []).append(list(times.values()))
    groups = []
    for registers, rows in kinds.items():
        chosen = [REGISTERS.index(name) for name in registers]
        own = other[np.ix_(chosen, chosen)]
        if np.isfinite(own).all():
            groups.append(Repeats(np.array(rows), own))
    return jitter_seen(groups)


def _made_by(
    record: Record, filtered: Sequence[Mapping[int, GatePassage]], found: Sequence[Cut], step: float
) -> tuple[FilterRange, ...]:
    """Filters that explain the input's edges, of those passages in which both are seen."""
    pairs = []
    for passage in found:
        sensed = record.passages[passage.number - 1]
        for gate in passage.gates:
            front = sensed[gate].front
            after = [p[gate] for p in filtered if gate in p and p[gate].front >= front - 2.0 * step]
            if after and after[0].front < sensed[gate].rear + record.quiet:
                pairs.append((np.array(sensed[gate].edges), np.array(after[0].edges)))
    if not pairs:
        raise InputError(
            f"{record.file}: no passage is seen at the sensor and behind the filter, expected both"
        )
    return filters_that_make(pairs, step)


def _check(file: str, asked: Sequence[str], noise: EdgeNoise) -> None:
    """Raise InputError where something was asked for that the record cannot tell."""
    if "sensor.jitter" in asked and noise.jitter is None:
        raise InputError(
            f"{file}: sensor.jitter cannot be told from it, expected four or more passages of one part and "
            "--reference with its length"
        )
    if "filter" in asked and noise.made_by is None:
        raise InputError(
            f"{file}: filter cannot be told from the sensors' edges alone, expected a channel of the input "
            "behind its filter with --filtered 1=NAME"
        )
    if "filter" in asked and noise.made_by is not None and len({f.kind for f in noise.made_by}) != 1:
        kinds = ", ".join(f.kind for f in noise.made_by) or "none that has one time"
        raise InputError(f"{file}: the filters that explain the input's edges are {kinds}, expected just one")
