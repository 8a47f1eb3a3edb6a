"""Changes that people make to a rig whose reading is off, as far as they apply to it."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace

import numpy as np

from gatesim.chain import pipeline
from gatesim.chain.controller import Controller, constants_of, controller_of, nominal_values, uncalibrated
from gatesim.chain.pipeline import motion_query
from gatesim.chain.reference import AS_USUAL, reference_lengths, with_references
from gatesim.chain.remembered import Remembered
from gatesim.chain.sampled import sampling_periods
from gatesim.chain.sidebyside import Question
from gatesim.explanation.change import LINE_IN_CHARGE, Effort, Present, Proposal
from gatesim.explanation.purchase import PURCHASES
from gatesim.formula import FORMULAS, suited
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw, Evenly, Nominal
from gatesim.ground.errors import InputError
from gatesim.ground.text import as_mm
from gatesim.inputfilter import FILTERS
from gatesim.scenario.model import Scenario

__all__ = ["Effort", "Proposal", "proposals_of"]

PASSAGES = 20_000  # of each reference part, where readings scatter by sampling
SLOPE_STEP = 5.0
STEEPEST = 85.0  # deg; a free fall has no chute to tilt
FURTHER = 1.5
CHATTERS = 10.0  # mean durations of the chatter after an edge


def proposals_of(scenario: Scenario, formula: str, move: pipeline.Move | None = None) -> tuple[Proposal, ...]:
    """All proposals that fit this rig; ``move`` as `gatesim.chain.pipeline.run` has it."""
    present = Present(scenario, formula, Remembered() if move is None else move)
    found: list[Proposal] = []
    for source in (
        _formulas,
        _calibration,
        _distances,
        _filter,
        _spacing,
        _rearming,
        _further,
        _slope,
        *PURCHASES,
    ):
        found += _those_that_fit(source, present)
    return tuple(found)


def _those_that_fit(source: Callable[[Present], Iterator[Proposal]], present: Present) -> list[Proposal]:
    try:
        return list(source(present))
    except InputError:  # the change contradicts something else in this scenario
        return []


def _formulas(p: Present) -> Iterator[Proposal]:
    """Every other formula for which the rig has the counts and the constants."""
    constants, charge = uncalibrated(p.scenario), controller_of(p.scenario).formulas[0]
    for name in suited(travel=p.scenario.counter.source.turned_by != ""):
        formula = FORMULAS[name]
        if name == p.formula or formula.missing(constants):
            continue
        how = f"{formula.idea}: {formula.equation}. It needs {formula.needs}."
        changes, title = {"formula.use": [name]}, f"use the formula {name}"
        drop = () if name == charge else LINE_IN_CHARGE
        yield p.proposal(Effort.SOFTWARE, title, how, changes, drop=drop, formula=name)


def _calibration(p: Present) -> Iterator[Proposal]:
    """A straight line through the mean readings of two reference parts."""
    lengths = [float(length) for length in reference_lengths(p.scenario, 2)]
    means = _mean_readings(p, lengths)
    if not means[1] > means[0]:  # NaN too
        return
    slope = (lengths[1] - lengths[0]) / (means[1] - means[0])
    old = constants_of(p.scenario, p.formula)
    gain, zero = slope * old.gain, slope * (old.zero - means[0]) + lengths[0]
    title = "calibration line from two reference parts"
    how = (
        f"parts of {as_mm(lengths[0])} and {as_mm(lengths[1])}; reading times {gain:.5f} "
        f"{'plus' if zero >= 0 else 'minus'} {1e3 * abs(zero):.3f} mm on the nominal rig; error and scatter "
        f"are of rigs with {AS_USUAL.passages} passages of either each, and hold while the rig stays as it is"
    )
    table = f"formula.calibration.{p.formula}"
    changes = {f"{table}.gain": gain, f"{table}.zero": f"{1e3 * zero!r} mm"}
    charge = controller_of(p.scenario).formulas[0]
    if p.formula != charge:
        kept = p.scenario.formula.line(charge, charge)
        changes |= {
            f"formula.calibration.{charge}.gain": kept.gain.nominal,
            f"formula.calibration.{charge}.zero": f"{1e3 * kept.zero.nominal!r} mm",
        }
    yield replace(p.proposal(Effort.SOFTWARE, title, how, changes, drop=LINE_IN_CHARGE), calibrated=True)


def _mean_readings(p: Present, lengths: Sequence[float]) -> list[float]:
    """Mean reading of each reference part on the nominal rig over many passages: it knows no whole counts."""
    if not sampling_periods(p.scenario):
        return [float(r) for r in _readings(p, Nominal(len(lengths)), {}, np.array(lengths))]
    # a quotient of times that wait for samples: its mean is not that at the mean delays
    found = []
    for length in lengths:
        nominal = nominal_values(p.scenario)
        readings = _readings(p, Evenly(PASSAGES), nominal, np.full(PASSAGES, length))
        read = readings[~np.isnan(readings)]
        found.append(float(np.mean(read)) if read.size else math.nan)
    return found


def _readings(p: Present, draw: Draw, values: Mapping[str, Scalar], lengths: Array) -> Array:
    """Unrounded readings of reference parts of these lengths, (n,) in m."""
    of_parts = with_references(p.scenario, values, lengths, draw.trials)
    return pipeline.run(p.scenario, draw, of_parts, quantised=False, move=p.move).readings[p.formula]


def expect_references(scenario: Scenario, move: Remembered) -> None:
    """Let ``move`` know the passages of reference parts that a calibration line will ask of it."""
    lengths = reference_lengths(scenario, 2)
    of_parts = with_references(scenario, {}, lengths, lengths.size)
    with suppress(InputError):  # a reference part may be one that the rig cannot take
        query = motion_query(scenario, Nominal(lengths.size), of_parts, controller=Controller({}))
        move.expect(Question(query.rig.part, query.rig.path, query.rig.forces, query.positions))


def _distances(p: Present) -> Iterator[Proposal]:
    """Measured distances in place of wrong ones."""
    held = p.scenario.formula
    wrong = [key for key in ("spacing", "rearm", "release_distance") if getattr(held, key) is not None]
    if wrong:
        how = f"spacing {p.scenario.gate.spacing.text} instead of what the controller holds"
        drop = tuple(f"formula.{key}" for key in wrong)
        yield p.proposal(Effort.SOFTWARE, "enter the distances as they are", how, {}, drop=drop)


def _filter(p: Present) -> Iterator[Proposal]:
    """Filters that are there for the time that a sensor chatters after an edge."""
    chatter = [sensor.chatter for sensor in p.scenario.sensors if sensor.chatter is not None]
    if not chatter:
        return
    time = CHATTERS * max((1.0 + c.mean_pulses.nominal) * c.mean_spacing.nominal for c in chatter)
    for member in FILTERS.members:
        suggestion = member.suggested(time)
        if suggestion is not None:
            yield p.suggested(Effort.SOFTWARE, suggestion)


def _spacing(p: Present) -> Iterator[Proposal]:
    """Gates as far apart as the part is long: speed and dwell are then taken over the same motion."""
    gate = p.scenario.gate
    if "spacing" not in FORMULAS[p.formula].constants or gate.spacing.nominal == p.length:
        return
    changes = {"gate.spacing": as_mm(p.length)}
    how = f"{as_mm(p.length)} instead of {gate.spacing.text}"
    if gate.rearm is not None and gate.rearm.nominal < 1.25 * p.length:
        changes["gate.rearm"] = as_mm(1.5 * p.length)
        how += f", the third gate to {changes['gate.rearm']}"
    drop = ("formula.spacing", "formula.rearm")
    title = f"gate 2 as far from gate 1 as the part is long, {as_mm(p.length)}"
    yield p.proposal(Effort.MOVE, title, how, changes, drop=drop)


def _rearming(p: Present) -> Iterator[Proposal]:
    """The third gate so near that it re-arms the counter before the next part is at gate 1."""
    gate, follower = p.scenario.gate, p.scenario.follower
    if follower is None or gate.rearm is None:
        return
    ahead = p.speed * follower.interval.nominal  # of the next part's leading end; NaN: never at gate 1
    nearer = as_mm(0.5 * (p.length + ahead))  # the trailing end has left gate 1 then
    if p.length < ahead < gate.rearm.nominal:
        how = (
            f"gate 3 at {nearer} from gate 1 instead of {gate.rearm.text}; parts follow {as_mm(ahead)} apart"
        )
        title = f"the re-arming gate nearer, {nearer} from gate 1"
        yield p.proposal(Effort.MOVE, title, how, {"gate.rearm": nearer}, drop=("formula.rearm",))


def _further(p: Present) -> Iterator[Proposal]:
    """Gates further down, where a free part is faster and a braked or carried one steadier."""
    first = p.scenario.gate.first.nominal
    how = f"gate 1 at {as_mm(FURTHER * first)} instead of {p.scenario.gate.first.text}, same spacing"
    title = f"all gates {as_mm((FURTHER - 1.0) * first)} further from the release"
    changes = {"gate.first": as_mm(FURTHER * first)}
    drop = ("formula.release_distance",)
    yield p.proposal(Effort.MOVE, title, how, changes, drop=drop)


def _slope(p: Present) -> Iterator[Proposal]:
    """The path a little steeper, and a little shallower."""
    slope = math.degrees(p.scenario.path.slope.nominal)
    if p.scenario.carried or not 0.0 < slope < STEEPEST:
        return
    for word, new in (("steeper", slope + SLOPE_STEP), ("shallower", slope - SLOPE_STEP)):
        if 0.0 <= new <= STEEPEST:
            how = f"{new:.6g} deg instead of {slope:.6g} deg"
            yield p.proposal(
                Effort.MOVE, f"path {word} by {SLOPE_STEP:g} deg", how, {"path.slope": f"{new!r} deg"}
            )
