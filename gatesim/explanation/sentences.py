"""The explanation in plain words, with the numbers of this rig."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from gatesim.chain.pipeline import Passed
from gatesim.explanation.breakdown import Breakdown, Share
from gatesim.explanation.remedy import Remedies, Remedy
from gatesim.ground.arrays import first_of
from gatesim.ground.text import mm
from gatesim.scenario.model import Scenario


@dataclass(frozen=True)
class Facts:
    """What the words draw on; SI. ``enters``, ``leaves``: speed of the part's ends at gate 1.

    ``early``: mean speed of the leading end from gate 1 to gate 2; ``whole``: mean speed
    while gate 1 is covered, ``dwell`` for how long; ``transit`` the time from gate to gate.
    ``assumed``: acceleration that the controller holds, NaN without one.
    """

    scenario: Scenario
    length: float
    spacing: float
    dwell: float
    transit: float
    enters: float
    leaves: float
    assumed: float

    @property
    def early(self) -> float:
        """See the class."""
        return self.spacing / self.transit

    @property
    def whole(self) -> float:
        """See the class."""
        return self.length / self.dwell


def facts(scenario: Scenario, passed: Passed) -> Facts:
    """The numbers of the nominal passage."""
    motion, front, rear = passed.motion, passed.front, passed.rear
    return Facts(
        scenario,
        float(passed.true_length[0]),
        first_of(passed.rig.gates[1] - passed.rig.gates[0]),
        float(motion.time[0, rear[0]] - motion.time[0, front[0]]),
        float(motion.time[0, front[1]] - motion.time[0, front[0]]),
        float(motion.speed[0, front[0]]),
        float(motion.speed[0, rear[0]]),
        passed.rig.constants.acceleration,
    )


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


def _reason(share: Share, found: Breakdown, about: Facts) -> str:
    tell = _motion if share.key == "motion" else _REASONS.get(share.key)
    return "" if tell is None else tell(share, found, about)


def _gained(about: Facts) -> str:
    """How the speed changes while the part passes gate 1."""
    change = about.leaves - about.enters
    if abs(change) < abs(about.whole - about.early):
        return f"its speed comes and goes while it passes gate 1, about a mean of {about.whole:.4g} m/s"
    verb = "gains" if change > 0.0 else "loses"
    return (
        f"it {verb} {abs(change):.2g} m/s while it passes gate 1 ({about.enters:.4g} to "
        f"{about.leaves:.4g} m/s)"
    )


def _simple(about: Facts) -> str:
    """The matter in one sentence."""
    if abs(about.leaves - about.enters) < abs(about.whole - about.early):
        return "The part does not keep its speed while it passes."
    does = "speeds up" if about.leaves > about.enters else "slows down"
    if about.spacing < about.length:
        return f"The part {does} while it passes, but the controller reckons with the speed it had at first."
    return f"The part {does}, and the controller reckons with a speed it has only after it has passed gate 1."


def _over(about: Facts) -> str:
    first = about.spacing < about.length
    return (
        f"the first {mm(about.spacing)} only" if first else f"the {mm(about.spacing)} from gate 1 to gate 2"
    )


def _motion(share: Share, found: Breakdown, about: Facts) -> str:
    gained = _gained(about)
    if found.formula == "spacing-dwell":
        slow = about.early < about.whole
        amiss = 100.0 * abs(1.0 - about.early / about.whole)
        return (
            f"{_simple(about)} In numbers: {gained}. The speed that it is reckoned with was taken over "
            f"{_over(about)}: {about.early:.4g} m/s. On average over its whole length it ran at "
            f"{about.whole:.4g} m/s, so that the speed is {amiss:.2g} % too {'low' if slow else 'high'}, "
            f"and speed times time comes out too {'short' if slow else 'long'}."
        )
    if found.formula == "known-acceleration":
        gain = (about.leaves - about.enters) / about.dwell
        return (
            f"The controller was told an acceleration of {about.assumed:.3g} m/s². In truth {gained}, which "
            f"is {gain:.3g} m/s² on average."
        )
    return f"The formula {found.formula} takes for granted {_ASSUMED[found.formula]}. In truth {gained}."


_ASSUMED = {
    "rear-edge": "that the mean of two speeds, the leading end's and the trailing end's from gate to gate, "
    "is that of the passage of gate 1; but the second is taken after the part has left gate 1",
    "fixed-release": "a release from rest and one constant acceleration since",
    "four-edge": "one constant acceleration from the first edge to the last",
    "three-gates": "one constant acceleration from gate 1 to gate 3",
    "encoder-pitch": "that the roller turns as the part moves",
}


def _response(share: Share, found: Breakdown, about: Facts) -> str:
    sensor = about.scenario.sensor
    late = sensor.light_delay.nominal - sensor.dark_delay.nominal
    if sensor.time_constant.nominal > 0.0 and abs(late) * about.whole < 0.5 * abs(share.error):
        return (
            f"The receiver follows the light with a time constant of {sensor.time_constant.text}, and how "
            "late an edge comes depends on how fast the light changes."
        )
    word = "later" if late > 0.0 else "earlier"
    return (
        f"The sensor reports light {1e6 * abs(late):.3g} µs {word} than dark. The part moves about "
        f"{mm(abs(late) * about.leaves)} in that time."
    )


def _beam(share: Share, found: Breakdown, about: Facts) -> str:
    sensor = about.scenario.sensor
    return (
        f"The output goes dark when {sensor.dark_fraction.text} of the beam is covered and light again "
        f"below {sensor.light_fraction.text}, so that both edges lie beside the middle of the beam."
    )


def _shape(share: Share, found: Breakdown, about: Facts) -> str:
    return "Its ends or openings are not square: a tip covers the beam only some way behind its very end."


def _tilt(share: Share, found: Breakdown, about: Facts) -> str:
    return (
        f"A part tilted by {about.scenario.part.tilt.text} is longer along the path: length over the "
        "cosine of it."
    )


def _clock(share: Share, found: Breakdown, about: Facts) -> str:
    return (
        f"The clock is off by {about.scenario.counter.frequency_error.text}, which matters to a formula "
        "that needs times and not only their ratio."
    )


def _distances(share: Share, found: Breakdown, about: Facts) -> str:
    held = about.scenario.formula
    if held.spacing is not None and held.spacing.nominal != about.spacing:
        return (
            f"The controller reckons with a spacing of {held.spacing.text}, and the gates stand "
            f"{mm(about.spacing)} apart."
        )
    return "A distance that the controller reckons with is not the one on the rig."


def _calibration(share: Share, found: Breakdown, about: Facts) -> str:
    held = about.scenario.formula
    return (
        f"Every reading is multiplied by {held.gain.text} and {held.zero.text} added, whatever the rig "
        "needs now."
    )


def _timing(share: Share, found: Breakdown, about: Facts) -> str:
    reason = about.scenario.counter.timing.reason(about.leaves)
    if np.isnan(share.low):
        return reason
    return (
        f"{reason} By chance this share lies anywhere from "
        f"{1e3 * share.low:+.3g} to {1e3 * share.high:+.3g} mm."
    )


def _counting(share: Share, found: Breakdown, about: Facts) -> str:
    counter = about.scenario.counter
    step = "a pulse" if counter.frequency is None else f"{1e6 / counter.frequency.nominal:.3g} µs"
    return (
        f"Counts are whole, one every {step}. By the chance of where an edge falls between two of them "
        f"this share lies anywhere from {1e3 * share.low:+.3g} to {1e3 * share.high:+.3g} mm."
    )


def _filter(share: Share, found: Breakdown, about: Facts) -> str:
    return "The input filter delays the two edges of the part by different times, or lets chatter through."


def _slip(share: Share, found: Breakdown, about: Facts) -> str:
    encoder = about.scenario.counter.encoder
    return "" if encoder is None else f"The measuring roller misses {encoder.slip.text} of the travel."


def _runout(share: Share, found: Breakdown, about: Facts) -> str:
    encoder = about.scenario.counter.encoder
    return "" if encoder is None else (
        f"The measuring roller runs {encoder.runout.text} out of true, which adds or takes away a little, "
        "depending on where in its turn it starts."
    )  # fmt: skip


def _limit(share: Share, found: Breakdown, about: Facts) -> str:
    return "The pulses come faster than the count input follows, so that only some are counted."


_REASONS: dict[str, Callable[[Share, Breakdown, Facts], str]] = {
    "response": _response,
    "beam": _beam,
    "shape": _shape,
    "tilt": _tilt,
    "clock": _clock,
    "distances": _distances,
    "calibration": _calibration,
    "timing": _timing,
    "counting": _counting,
    "filter": _filter,
    "slip": _slip,
    "runout": _runout,
    "limit": _limit,
}


def advice(tried: Remedies) -> str:
    """Which change is the cheapest, in one or two sentences."""
    wanted = f"{mm(tried.wanted)} ({tried.wanted_text})"
    if np.isnan(tried.now.reach):
        return "There is no reading to improve."
    if tried.meets(tried.now):
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


def _named(remedy: Remedy) -> str:
    left = off(remedy.error)
    return (
        f"{remedy.proposal.title} ({remedy.effort.words}), which leaves the reading {left}, with a "
        f"standard deviation of {mm(remedy.spread)} from part to part"
    )
