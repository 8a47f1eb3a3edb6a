"""The outcome of a passage in a sentence or two, with the numbers of this rig."""

from collections.abc import Callable

import numpy as np

from gatesim.chain.account.noreading import why_no_reading
from gatesim.chain.account.sidenotes import remarks
from gatesim.chain.pipeline import Measured
from gatesim.chain.seen import seen_motion
from gatesim.formula import FORMULAS
from gatesim.ground.arrays import first_of
from gatesim.ground.outcome import Outcome
from gatesim.ground.text import mm
from gatesim.ground.transition import edge_count
from gatesim.inputfilter import highest_train
from gatesim.motion import Force
from gatesim.scenario.model import Scenario


def _speed(value: float, digits: int = 3) -> str:
    return f"{value:.{digits}g} m/s"


def _telling(value: float, other: float) -> int:
    """Significant digits that tell two speeds apart, three at least."""
    return next((digits for digits in range(3, 7) if _speed(value, digits) != _speed(other, digits)), 7)


def _dwell(times: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> str:
    return f"{1e3 * float(times[0, 1] - times[0, 0]):.3g} ms"


def _measured(scenario: Scenario, passed: Measured) -> str:
    name = next(iter(passed.readings))
    error = float(passed.readings[name][0] - passed.true_length[0])
    verdict = f"The formula in charge, {name}, reads the true length."
    if abs(error) >= 0.5e-6:
        side = "long" if error > 0.0 else "short"
        verdict = f"The formula in charge, {name}, reads {mm(abs(error))} {side}."
    speeds = ""
    if FORMULAS[name].one_speed and not np.isnan(passed.rig.constants[name].tick):
        speeds = _two_speeds(passed, error)
    return " ".join([sentence for sentence in (speeds, verdict, *remarks(scenario, passed)) if sentence])


def _two_speeds(passed: Measured, error: float) -> str:
    """How the speed during the dwell and the one it is multiplied with differ, if that tells anything."""
    seen = seen_motion(passed)
    mean, average, change = seen.early, seen.whole, seen.leaves - seen.enters
    if not abs(average / mean - 1.0) * seen.length > max(0.2 * abs(error), 1e-6):
        return ""
    digits = _telling(average, mean)
    told = f"passes gate 1 at {_speed(average, digits)} on average"
    if change * (average - mean) > 0.0 and abs(change) > 0.01 * average:
        word = "gains" if change > 0.0 else "loses"
        span = f"{_speed(seen.enters)} to {_speed(seen.leaves)}"
        told = f"{word} {_speed(abs(change))} while it passes gate 1 ({span})"
    return (
        f"The part {told}, but the speed it is multiplied with is the mean over the first "
        f"{mm(seen.spacing)}, {_speed(mean, digits)}."
    )


def _stopped(scenario: Scenario, passed: Measured) -> str:
    stop = float(passed.motion.stop_position[0])
    reached = [first_of(gate) <= stop for gate in passed.rig.gates]
    missed = reached.index(False) if False in reached else 0
    if stop == 0.0:
        return (
            "The part does not start: friction holds it against everything that drives it. "
            "A steeper slope, less friction or a launch would move it."
        )
    where = "before its trailing end has left gate 1" if all(reached) else f"before gate {missed + 1}"
    gate = first_of(passed.rig.gates[missed])
    return f"The part stops {mm(stop)} after release, {where} at {mm(gate)}; there is nothing to count there."


def _ran_back(scenario: Scenario, passed: Measured) -> str:
    stop = float(passed.motion.stop_position[0])
    return f"The part turns round {mm(stop)} after release and runs back: the slope is uphill and too long."


def _slipping(scenario: Scenario, passed: Measured) -> str:
    belt = passed.motion.belt
    assert belt is not None, "nothing else slips"
    caught, grip = float(passed.motion.caught_position[0]), float(passed.motion.grip[0])
    return belt.slipping_words(caught, grip, first_of(passed.rig.gates[0]))


def _runaway(scenario: Scenario, passed: Measured) -> str:
    ratio, gain = float(passed.motion.brake_ratio[0]), float(passed.motion.brake_acceleration[0])
    part, path = passed.rig.part, passed.rig.path
    others = [force for force in passed.rig.forces if isinstance(force, Force)]
    return " ".join(
        force.runaway_words(part, path, ratio, gain) for force in others if force.crest(part) is not None
    )


def _not_darkened(scenario: Scenario, passed: Measured) -> str:
    share = scenario.sensor.of(1).dark_fraction.text
    return (
        f"The beam is wider than the part can darken: {share} of it must be blocked, and the part never "
        "does. A narrower beam, a lower threshold or a beam on the part's axis would see it."
    )


def _stretched(scenario: Scenario, passed: Measured) -> str:
    dark = min(_dwell(times) for times in passed.sensed[:2])
    return f"The gate is dark for {dark} only, {scenario.filter.when_stretched}"


def _no_reading(scenario: Scenario, passed: Measured) -> str:
    name = next(iter(passed.readings))
    others = [other for other, length in passed.readings.items() if np.isfinite(length[0])]
    able = f" {' and '.join(others)} would read it." if others else ""
    reason = why_no_reading(passed, name)
    return f"The formula in charge, {name}, makes no length of these counts: {reason}.{able}"


def _swallowed(scenario: Scenario, passed: Measured) -> str:
    longest = max((_dwell(t) for t in passed.sensed if np.isfinite(t[0, 1])), default="nothing")
    return (
        f"The input filter takes the part for a disturbance: the gate is dark for {longest}, and the filter "
        f"({scenario.filter.kind}) lets nothing so short pass. The counter reads 0. Use a shorter filter "
        "time."
    )


def _merged(scenario: Scenario, passed: Measured) -> str:
    gap = float(passed.light[0][0, 2] - passed.light[0][0, 1]) if edge_count(passed.light[0])[0] > 2 else 0.0
    if gap == 0.0:
        return "The next part follows without a gap: both are counted as one long part. Feed slower."
    by = f"the input filter ({scenario.filter.kind})"
    if edge_count(passed.filtered[0])[0] == edge_count(passed.light[0])[0]:
        by = scenario.counter.timing.place
    return (
        f"The gap of {1e3 * gap:.3g} ms between this part and the next is too short for {by}: both are "
        "counted as one long part. Feed slower, or make that time shorter."
    )


def _split(scenario: Scenario, passed: Measured) -> str:
    times = int(passed.counted.cycles.darkened[0, 0])
    return (
        f"Gate 1 goes dark {times} times while one part passes: light comes through an opening of the "
        "part for "
        "longer than the input filter bridges. The last trailing edge counts as the end of the part."
    )


def _chattered(scenario: Scenario, passed: Measured) -> str:
    extra = max(
        int(edge_count(f)[0] - edge_count(t)[0]) for f, t in zip(passed.filtered, passed.light, strict=True)
    )
    return (
        f"Chatter of the sensor gets through the input filter: {extra} transitions more than the part "
        "has edges. "
        "Use a longer filter time, or another kind of filter."
    )


def _no_edge(scenario: Scenario, passed: Measured) -> str:
    return "Gate 1 never goes dark for the counter, so that no cycle starts."


def _no_capture(scenario: Scenario, passed: Measured) -> str:
    return "Gate 2 is not reached before the cycle ends, so that there is no speed to multiply with."


def _late_capture(scenario: Scenario, passed: Measured) -> str:
    spacing = mm(first_of(passed.rig.gates[1] - passed.rig.gates[0]))
    return (
        f"The part is shorter than the spacing of {spacing}: the gate closes before gate 2 is reached, and a "
        "counter that counts only while dark has nothing to capture. Let it count until re-armed, or "
        "move the gates closer."
    )


def _early_rearm(scenario: Scenario, passed: Measured) -> str:
    distance = first_of(passed.rig.gates[2] - passed.rig.gates[0])
    length = float(passed.true_length[0])
    if length > distance:
        return (
            f"The part of {mm(length)} is longer than the {mm(distance)} to the third gate: the counter "
            "is re-armed "
            "while gate 1 is still dark, and the dwell is lost. Move the third gate further away."
        )
    return (
        f"The counter still sees gate 1 dark when the part reaches the third gate, {mm(distance)} on, "
        "although the "
        f"part is {mm(length)} long: input filter, sensor or tilt make the dark time longer. The dwell "
        "is lost. "
        "Shorten that delay, or move the third gate further away."
    )


def _next_too_soon(scenario: Scenario, passed: Measured) -> str:
    cycles, part_light = passed.counted.cycles, float(passed.counted.gates[0][0, 1])
    if float(cycles.dwell[0, 0]) > part_light:
        return (
            "The next part passes gate 1 before this one has re-armed the counter: its trailing edge "
            "overwrites the dwell, and the reading spans two parts and the gap between them. Feed "
            "slower, or bring the re-arming gate closer."
        )
    return (
        "The next part darkens gate 1 before this one has re-armed the counter, so that it starts no "
        "cycle of its own: this part is read, the next one is missed. Feed slower, or bring the "
        "re-arming gate closer."
    )


def _overflow(scenario: Scenario, passed: Measured) -> str:
    top = 2**scenario.counter.width - 1
    return (
        f"The count exceeds {top}, the most that {scenario.counter.width} bits hold, and starts again "
        "from 0. "
        "Use a slower clock or a wider register."
    )


def _pulses_lost(scenario: Scenario, passed: Measured) -> str:
    limit = scenario.counter.input_frequency_limit
    times, every = float(passed.counted.limit_ratio[0, 0]), float(passed.counted.every[0, 0])
    if limit is not None and times > 1.0:
        return (
            f"The pulses come {times:.3g} times as fast as the input follows ({limit.text}): "
            f"it is still recovering when the next arrives, and counts one in {every:.3g}."
        )
    highest = highest_train(passed.rig.filter)
    passes = "none: the counter reads 0" if np.isinf(every) else f"one in {every:.3g}"
    return (
        f"{scenario.counter.source.pulses} pass the input filter ({scenario.filter.kind}), which follows "
        f"them up to {highest:.4g} Hz. They come faster, and it lets through {passes}. "
        "Use a shorter filter time, fewer pulses a turn, or an unfiltered input for them."
    )


def _missed(scenario: Scenario, passed: Measured) -> str:
    dark = _dwell(passed.filtered[0])
    return f"The gate is dark for {dark}, {scenario.counter.timing.when_missed}."


_SENTENCES: dict[Outcome, Callable[[Scenario, Measured], str]] = {
    Outcome.MEASURED: _measured,
    Outcome.STOPPED: _stopped,
    Outcome.RAN_BACK: _ran_back,
    Outcome.SLIPPING: _slipping,
    Outcome.RUNAWAY: _runaway,
    Outcome.NOT_DARKENED: _not_darkened,
    Outcome.SWALLOWED: _swallowed,
    Outcome.MERGED: _merged,
    Outcome.SPLIT: _split,
    Outcome.CHATTERED: _chattered,
    Outcome.STRETCHED: _stretched,
    Outcome.NO_EDGE: _no_edge,
    Outcome.NO_CAPTURE: _no_capture,
    Outcome.LATE_CAPTURE: _late_capture,
    Outcome.EARLY_REARM: _early_rearm,
    Outcome.NEXT_TOO_SOON: _next_too_soon,
    Outcome.OVERFLOW: _overflow,
    Outcome.PULSES_LOST: _pulses_lost,
    Outcome.MISSED: _missed,
    Outcome.NO_READING: _no_reading,
}


def explain_outcome(scenario: Scenario, passed: Measured) -> str:
    """What became of the first trial, and why, in plain words."""
    return _SENTENCES[Outcome(int(passed.outcome[0]))](scenario, passed)
