"""One passage followed in time, and its timing diagram."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from gatesim.chain import pipeline
from gatesim.commands.trace import command
from gatesim.ground.data import data_of
from gatesim.ground.draw import Nominal
from gatesim.prediction.trace import trace
from gatesim.scenario import load

from .rigs import rig

FOLDER = Path(__file__).parent.parent / "scenarios"
FILES = sorted(FOLDER.glob("*.toml"))
CIRCULAR = '[sensor]\nbeam = { shape = "circular", diameter = "4 mm" }\n'


def at(followed, register, cycle=0):
    return next(m for m in followed.moments if m.register == register and m.cycle == cycle)


@pytest.mark.long
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_the_register_holds_what_is_latched_at_the_moment_of_latching(file):
    followed = trace(load(file))
    assert followed.moments
    rearmed = {moment.time for moment in followed.moments if moment.name == "re-armed"}
    for moment in followed.moments:
        if moment.count is None:
            continue
        if moment.time not in rearmed:
            assert followed.count_at(np.array([moment.time]))[0] == moment.count
        else:  # the edge that is latched last re-arms at the same moment, which sets the count to 0
            before, after = followed.count_at(moment.time + np.array([-1e-12, 1e-12]))
            assert before in (moment.count - 1, moment.count)
            assert after == 0
    counts = pipeline.run(load(file), Nominal(1)).counts
    for moment in followed.moments:
        if moment.cycle == 0 and moment.count is not None:
            assert getattr(counts, moment.register)[0] == moment.count


def test_the_blocked_share_crosses_the_thresholds_when_the_comparator_switches():
    followed = trace(rig(CIRCULAR + 'dark_fraction = "70 %"\nlight_fraction = "30 %"\n'))
    for gate in followed.gates:
        # straight lines between the drawn nodes follow the share to a part in a thousand
        np.testing.assert_allclose(gate.blocked_at(gate.light), [0.7, 0.3], atol=1e-3)
        inside = np.linspace(gate.light[0], gate.light[1], 200)[1:-1]
        assert (gate.blocked_at(inside) > 0.3 - 1e-3).all()
        assert gate.blocked_at(np.array([0.0, gate.time[0] - 1e-6, followed.end])).tolist() == [0.0] * 3


def test_the_part_is_at_the_gates_when_they_switch():
    followed = trace(rig(CIRCULAR))
    for gate in followed.gates:
        np.testing.assert_allclose(
            followed.position_at(gate.light), gate.position + np.array([0.0, 0.17]), atol=1e-6
        )
    assert followed.position_at(np.array([-1.0, 0.0])).tolist() == [0.0, 0.0]


def test_a_part_that_follows_is_where_the_first_was_an_interval_earlier():
    followed = trace(rig('[follower]\ninterval = "600 ms"\ncount = 2\n'))
    assert followed.parts == (0.0, 0.6, 1.2)
    t = np.linspace(0.0, 0.4, 9)
    np.testing.assert_allclose(followed.position_at(t + 1.2, 2), followed.position_at(t, 0), atol=1e-14)
    assert [m.count for m in followed.moments if m.register == "dwell"] == [
        at(followed, "dwell", 0).count,
    ] * 3
    gate = followed.gates[0]
    np.testing.assert_allclose(gate.light[2:4], gate.light[:2] + 0.6)
    middle = gate.light.reshape(-1, 2).mean(axis=1)
    shares = gate.blocked_at(np.append(middle, middle + 0.3))
    np.testing.assert_allclose(shares, [1.0] * 3 + [0.0] * 3, atol=1e-6)


def test_a_counter_that_counts_only_while_dark_stands_still_in_the_light():
    notch = '"170 mm"\nopenings = [{ kind = "notch", start = "60 mm", length = "40 mm" }]'
    followed = trace(rig(length=notch, frequency='"100 kHz"\ncounting = "while-dark"'))
    dark, light, again, end = followed.gates[0].acted
    t = np.array([light, 0.5 * (light + again), again, end])
    counts = followed.count_at(t)
    assert counts[0] == counts[1] == counts[2]
    assert counts[3] == pytest.approx(1e5 * (light - dark + end - again), abs=2)


@pytest.mark.long
@pytest.mark.parametrize(
    ("lines", "extra"),
    [
        ({"slope": '"5 deg"\nfriction = 0.2'}, ""),
        ({"slope": '"-20 deg"\nrelease_speed = "1 m/s"'}, ""),
        ({}, '[filter]\nkind = "stable-for"\ntime = "300 ms"\n'),
        ({"length": '"170 mm"\nheight = "1 mm"'}, CIRCULAR),
        ({"spacing": '"50 mm"\nrearm = "120 mm"'}, ""),
    ],
    ids=["stands", "runs back", "swallowed", "not darkened", "early re-arm"],
)
def test_a_passage_that_gives_no_reading_can_be_followed_and_drawn(lines, extra, tmp_path):
    from gatesim.view.style import save
    from gatesim.view.timing import timing_diagram

    followed = trace(rig(extra, **lines))
    json.dumps(data_of(followed), allow_nan=False)
    save(timing_diagram(followed)[0, 0], tmp_path / "diagram.svg")
    assert followed.end > 0.0


@pytest.mark.long
@pytest.mark.parametrize(("ending", "begins"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")])
def test_the_figure_is_of_the_kind_that_the_file_name_says(ending, begins, tmp_path):
    figure = tmp_path / f"diagram.{ending}"
    done = CliRunner().invoke(command, [str(FILES[0]), "--figure", str(figure)], standalone_mode=False)
    assert done.exception is None
    assert figure.read_bytes().startswith(begins)


@pytest.mark.long
def test_json_gives_the_transition_lists_and_moments():
    done = CliRunner().invoke(command, [str(FOLDER / "8c-chatter-majority.toml"), "--json"])
    found = json.loads(done.stdout)
    followed = trace(load(FOLDER / "8c-chatter-majority.toml"))
    for entry, gate in zip(found["gates"], followed.gates, strict=True):
        for name in ("light", "sensed", "filtered", "acted"):
            assert entry[f"{name}_s"] == getattr(gate, name).tolist()
    assert [m["count"] for m in found["moments"]] == [m.count for m in followed.moments]
    assert found["outcome"] == followed.outcome
    assert len(found["time_s"]) == len(found["count"]) == len(found["parts"][0]["position_m"])


@pytest.mark.parametrize(
    ("stem", "words"),
    [
        ("7-pointed-pin", "behind the tip"),
        ("8a-chatter-stable-for", "waits them out"),
        ("8b-chatter-hold-off", "is blind to them"),
        ("8c-chatter-majority", "gets through the input filter"),
        ("9b-slat-polled", "waits up to 6 ms for the next scan"),
        ("10-train-too-close", "overwrites the dwell"),
    ],
)
def test_text_explains_what_the_stages_did(stem, words):
    done = CliRunner().invoke(command, [str(FOLDER / f"{stem}.toml")])
    assert words in " ".join(done.stdout.split())
    assert "as read" in done.stdout


def test_the_diagram_draws_on_axes_that_it_is_given():
    from matplotlib.figure import Figure

    from gatesim.view.timing import timing_diagram

    followed = trace(rig())
    axes = Figure().subplots(3, 2)
    assert timing_diagram(followed, axes) is axes
    assert all(axis.has_data() for axis in axes[:, 0])
    shown = axes[0, 0].get_xlim()
    assert shown[0] < 1e3 * followed.gates[0].light[0] < shown[1]
