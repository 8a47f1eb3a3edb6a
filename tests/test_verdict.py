"""What became of a part, as filter, chatter, scan and following parts leave it to the counter."""

import numpy as np
import pytest

from gatesim.chain import pipeline
from gatesim.chain.account.outcomesentence import explain_outcome
from gatesim.ground.draw import Nominal, Streams
from gatesim.ground.outcome import Outcome

from .rigs import rig

# At constant speed: 170 mm at 2 m/s darken a gate for 85 ms; the next part follows 100 ms later.
STEADY = {"slope": '"0 deg"\nrelease_speed = "2 m/s"'}
NEXT = '[follower]\ninterval = "100 ms"\n'
NOTCH = '"170 mm"\nopenings = [{ kind = "notch", start = "60 mm", length = "20 mm" }]'  # 10 ms of light
CHATTER = '[sensor]\nchatter = { mean_pulses = 3, mean_spacing = "1 ms" }\n'
SPACING = '"50 mm"\nrearm = "195 mm"'  # re-armed after 97.5 ms, before the next part


def filtered(kind, time):
    return f'[filter]\nkind = "{kind}"\ntime = "{time}"\n'


def outcome(extra, draw=None, **lines):
    scenario = rig(extra, **(STEADY | lines))
    passed = pipeline.run(scenario, draw or Nominal(1))
    explained = explain_outcome(scenario, passed)
    return Outcome(int(passed.outcome[0])), explained, passed


@pytest.mark.parametrize(
    ("expected", "extra", "lines", "words"),
    [
        (Outcome.MEASURED, NEXT, {"spacing": SPACING}, ""),
        (Outcome.MERGED, NEXT + filtered("stable-for", "20 ms"), {"spacing": SPACING}, "15 ms"),
        (Outcome.MERGED, NEXT + filtered("hold-off", "101 ms"), {"spacing": SPACING}, "hold-off"),
        (Outcome.MERGED, '[follower]\ninterval = "80 ms"\n', {"spacing": SPACING}, "without a gap"),
        (Outcome.SPLIT, "", {"length": NOTCH}, "2 times"),
        (Outcome.SPLIT, filtered("stable-for", "8 ms"), {"length": NOTCH}, "2 times"),
        (Outcome.MEASURED, filtered("stable-for", "12 ms"), {"length": NOTCH}, ""),
        (Outcome.CHATTERED, CHATTER, {}, "transitions more"),
        (Outcome.CHATTERED, CHATTER + filtered("hold-off", "0.9 ms"), {}, "transitions more"),
        (Outcome.MEASURED, CHATTER + filtered("hold-off", "30 ms"), {}, "hold-off"),
        (Outcome.MEASURED, CHATTER + filtered("stable-for", "10 ms"), {}, "stable-for"),
        (Outcome.CHATTERED, CHATTER + NEXT, {"spacing": SPACING}, "transitions more"),
        (Outcome.SWALLOWED, filtered("stable-for", "90 ms"), {}, "85 ms"),
        (Outcome.MEASURED, filtered("stable-for", "80 ms"), {}, ""),
    ],
)  # fmt: skip
def test_filter_chatter_and_next_part_decide_what_became_of_a_part(expected, extra, lines, words):
    found, explained, _ = outcome(extra, **lines)
    assert found == expected
    assert words in explained


def test_a_gap_between_two_scans_joins_two_parts():
    polled = '[counter.timing]\nkind = "polled"\ncycle = "40 ms"\n'
    found, explained, passed = outcome(NEXT + polled, Streams(1, 0, 400), spacing=SPACING)
    merged = passed.outcome == Outcome.MERGED
    assert merged.any()
    acted = np.isfinite(passed.counted.gates[0]).sum(axis=1) < 4
    assert (merged | ~acted)[passed.outcome != Outcome.MISSED].all()
    assert found != Outcome.MERGED or "scan" in explained


def test_a_part_that_stops_after_everything_is_latched_has_been_measured():
    # from 2 m/s with friction 0.5 it stops after v^2/(2 mu g) = 407.9 mm: past gate 2 at 150 mm by 170 mm
    lines = {"slope": '"0 deg"\nfriction = 0.5\nrelease_speed = "2 m/s"', "first": '"100 mm"'}
    found, _, passed = outcome("", **lines)
    assert found == Outcome.MEASURED
    found, explained, passed = outcome("", **(lines | {"spacing": '"50 mm"\nrearm = "300 mm"'}))
    assert passed.motion.outcome[0] == Outcome.STOPPED  # on gate 3, which it has darkened
    assert found == Outcome.MEASURED
    found, explained, _ = outcome("", **(lines | {"first": '"300 mm"'}))
    assert found == Outcome.STOPPED
    assert "407.9 mm" in explained
