"""The explanation in plain words, with the numbers of this rig."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from gatesim.chain.pipeline import Measured
from gatesim.chain.seen import seen_motion
from gatesim.explanation.breakdown import Breakdown, Contribution
from gatesim.explanation.remedy import Remedies, Remedy
from gatesim.formula import FORMULAS, Constants, SeenMotion
from gatesim.ground.text import mm
from gatesim.scenario.model import Scenario


@dataclass(frozen=True)
class Facts:
    """What the words draw on: the nominal passage, what the controller holds for each formula."""

    scenario: Scenario
    seen: SeenMotion
    constants: Mapping[str, Constants]

    @property
    def charge(self) -> str:
        """The formula in charge."""
        return next(iter(self.constants))


def facts(scenario: Scenario, passed: Measured) -> Facts:
    """The numbers of the nominal passage."""
    return Facts(scenario, seen_motion(passed), passed.rig.constants)


def side(error: float) -> str:
    """Short or long."""
    return "short" if error < 0.0 else "long"


def off(error: float) -> str:
    """Signed distance in words, such as 17.5 mm short."""
    return "exactly right" if abs(error) < 0.5e-6 else f"{mm(abs(error))} {side(error)}"


def headline(found: Breakdown) -> str:
    """One sentence: what is read, and how far off."""
    reading, length = f"{1e3 * found.reading:.3f} mm", f"{1e3 * found.true_length:.3f} mm"
    if abs(found.error) < 0.5e-6:
        return f"The counter's reading of {reading} is the true length."
    return f"The part is {length} long and is read as {reading}: {off(found.error)}."


def cause(found: Breakdown, about: Facts) -> str:
    """The biggest share and its physical reason."""
    biggest = found.biggest()
    if abs(biggest.error) < 0.5e-6:
        return "Nothing in this rig makes the reading differ from the true length."
    reason = _reason(biggest, found, about)
    said = f"{reason} This part of the error, {biggest.name}, comes to {off(biggest.error)}."
    against = sum(s.error for s in found.shares if s.error * biggest.error < 0.0)
    if abs(against) > 0.5 * abs(biggest.error):
        return f"{said} Other parts work against it, so that less of it is left in the reading."
    return f"{said} It is the biggest."


def _reason(share: Contribution, found: Breakdown, about: Facts) -> str:
    for imperfection in about.scenario.counter.source.imperfections:
        if imperfection.key == share.key:
            return imperfection.reason
    tell = _motion if share.key == "motion" else _REASONS.get(share.key.partition("@")[0])
    return "" if tell is None else tell(share, found, about)


def _motion(share: Contribution, found: Breakdown, about: Facts) -> str:
    return FORMULAS[found.formula].off_because(about.seen, about.constants[found.formula])


def _angle(share: Contribution, found: Breakdown, about: Facts) -> str:
    return (
        "A beam that does not cross the path at right angles sees the near and the far edge of the part, "
        "which is longer to it by its width times the tangent of the angle."
    )


def _response(share: Contribution, found: Breakdown, about: Facts) -> str:
    gate = share.key.partition("@")[2]
    sensor = about.scenario.sensor.of(int(gate or 1))
    late = sensor.light_delay.nominal - sensor.dark_delay.nominal
    if sensor.time_constant.nominal > 0.0 and abs(late) * about.seen.whole < 0.5 * abs(share.error):
        return (
            f"The receiver follows the light with a time constant of {sensor.time_constant.text}, and how "
            "late an edge comes depends on how fast the light changes."
        )
    word = "later" if late > 0.0 else "earlier"
    whose = f"sensor of gate {gate}" if gate else "sensor"
    return (
        f"The {whose} reports light {1e6 * abs(late):.3g} µs {word} than dark. The part moves about "
        f"{mm(abs(late) * about.seen.leaves)} in that time."
    )


def _beam(share: Contribution, found: Breakdown, about: Facts) -> str:
    sensor = about.scenario.sensor.of(1)
    return (
        f"The output goes dark when {sensor.dark_fraction.text} of the beam is covered and light again "
        f"below {sensor.light_fraction.text}, so that both edges lie beside the middle of the beam."
    )


def _shape(share: Contribution, found: Breakdown, about: Facts) -> str:
    return "Its ends or openings are not square: a tip covers the beam only some way behind its very end."


def _tilt(share: Contribution, found: Breakdown, about: Facts) -> str:
    return (
        f"A part tilted by {about.scenario.part.tilt.text} is longer along the path: length over the "
        "cosine of it."
    )


def _distances(share: Contribution, found: Breakdown, about: Facts) -> str:
    held = about.scenario.formula
    if held.spacing is not None and held.spacing.nominal != about.seen.spacing:
        return (
            f"The controller reckons with a spacing of {held.spacing.text}, and the gates stand "
            f"{mm(about.seen.spacing)} apart."
        )
    return "A distance that the controller reckons with is not the one on the rig."


def _calibration(share: Contribution, found: Breakdown, about: Facts) -> str:
    line = about.scenario.formula.line(found.formula, about.charge)
    return (
        f"Every reading is multiplied by {line.gain.text} and {line.zero.text} added, whatever the rig "
        "needs now."
    )


def _timing(share: Contribution, found: Breakdown, about: Facts) -> str:
    reason = about.scenario.counter.timing.reason(about.seen.leaves)
    if np.isnan(share.low):
        return reason
    return (
        f"{reason} By chance this share lies anywhere from "
        f"{1e3 * share.low:+.3g} to {1e3 * share.high:+.3g} mm."
    )


def _counting(share: Contribution, found: Breakdown, about: Facts) -> str:
    step = about.scenario.counter.source.step
    return (
        f"Counts are whole, one every {step}. By the chance of where an edge falls between two of them "
        f"this share lies anywhere from {1e3 * share.low:+.3g} to {1e3 * share.high:+.3g} mm."
    )


def _filter(share: Contribution, found: Breakdown, about: Facts) -> str:
    return "The input filter delays the two edges of the part by different times, or lets chatter through."


def _limit(share: Contribution, found: Breakdown, about: Facts) -> str:
    return "The pulses come faster than the count input follows, so that only some are counted."


_REASONS: dict[str, Callable[[Contribution, Breakdown, Facts], str]] = {
    "angle": _angle,
    "response": _response,
    "beam": _beam,
    "shape": _shape,
    "tilt": _tilt,
    "distances": _distances,
    "calibration": _calibration,
    "timing": _timing,
    "counting": _counting,
    "filter": _filter,
    "limit": _limit,
}


def advice(tried: Remedies) -> str:
    """Which change is the cheapest, in one or two sentences."""
    wanted = f"{mm(tried.wanted)} ({tried.wanted_text})" + _over_lengths(tried)
    if np.isnan(tried.now.reach):
        return "There is no reading to improve."
    if tried.now.enough:
        said = f"About 95 % of the parts are already read within {wanted}; nothing need change."
        if tried.best is not None and tried.best.reach < 0.8 * tried.now.reach:
            said += f" What would help most: {_named(tried.best)}."
        return said
    if tried.cheapest is not None:
        return (
            f"The cheapest change that brings about 95 % of the parts within {wanted}: "
            f"{_named(tried.cheapest)}."
        )
    if tried.best is None or tried.best.reach >= tried.now.reach:
        return f"None of the changes tried brings the reading nearer to {wanted}."
    return f"None of the changes tried comes within {wanted}. Nearest: {_named(tried.best)}."


def _over_lengths(tried: Remedies) -> str:
    """For which lengths, where a range of them is required."""
    lengths = tried.now.proposal.scenario.judged_lengths
    if len(lengths) == 1:
        return ""
    return f" at every length from {mm(lengths[0])} to {mm(lengths[-1])}, the worst now {mm(tried.now.worst)}"


def _named(remedy: Remedy) -> str:
    left = off(remedy.error)
    if len(remedy.proposal.scenario.judged_lengths) > 1:
        left += f" at {mm(remedy.worst)}, its worst"
    rigs = "calibrated rigs" if remedy.proposal.calibrated else "rigs"
    return (
        f"{remedy.proposal.title} ({remedy.effort.words}), which leaves the reading {left}, with a "
        f"standard deviation of {mm(remedy.spread)} over {rigs}, parts and passages"
    )
