"""What is said of a brake at the gates: run-in, run-out, force, and where it lets go."""

import json
import math
import re

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.integrate import solve_ivp

from gatesim.api.explain import explain
from gatesim.api.trace import trace
from gatesim.chain.pipeline import run
from gatesim.commands.main import cli
from gatesim.ground.draw import Nominal
from gatesim.prediction.predict import predict
from gatesim.scenario import parse_text
from tests.rigs import rig
from tests.test_magnet_rigs import slat

G = 9.80665


def braked(length, start, zone, first, peak=3.0, critical=1.5, spacing=40.0):
    table = (
        f'[brake]\nstart = "{start!r} mm"\nlength = "{zone!r} mm"\n'
        f'peak_force = "{peak!r} N"\ncritical_speed = "{critical!r} m/s"\n'
    )
    return rig(table, length=f'"{length!r} mm"', first=f'"{first!r} mm"', spacing=f'"{spacing!r} mm"')


def overlap(x, length, start, zone):
    """Metres of the interval [x - length, x] inside [start, start + zone]: interval arithmetic."""
    return np.clip(np.minimum(x, start + zone) - np.maximum(x - length, start), 0.0, None)


def cover_while_passing(gate, length, start, zone):
    """Share of the largest overlap at 400 places of the leading end while the part passes the gate."""
    x = np.linspace(gate, gate + length, 400)
    return overlap(x, length, start, zone) / min(length, zone)


@pytest.mark.long
def test_a_gate_is_said_to_lie_in_run_in_or_run_out_exactly_where_the_cover_changes():
    # truth: overlap of two intervals, computed here; 200 random rigs, two gates each
    rng, told, quiet = np.random.default_rng(3), 0, 0
    for _ in range(200):
        length, zone = rng.uniform(20, 400, 2).tolist()
        start, first = rng.uniform(5, 600), rng.uniform(30, 1500)
        (device,) = predict(braked(length, start, zone, first, peak=0.02)).devices
        assert [at.gate for at in device.gates] == [1, 2]
        for at in device.gates:
            cover = cover_while_passing(1e3 * at.position_m, length, start, zone)
            if at.words:
                told += 1
                assert np.ptp(cover) > 0.02
                assert at.front_share == pytest.approx(cover[0], abs=1e-9)
                assert at.rear_share == pytest.approx(cover[-1], abs=1e-9)
                for end in (end for pair in at.clear_m for end in pair if end is not None):
                    assert np.ptp(cover_while_passing(1e3 * end, length, start, zone)) < 1e-9
                at_gate, whole = 1e3 * at.position_m, min(length, zone)
                assert ("run-in" in at.words) == (at_gate < start + whole and at_gate + length > start)
                left = start + zone + length
                assert ("run-out" in at.words) == (at_gate < left and at_gate + length > left - whole)
            else:
                quiet += 1
                assert np.ptp(cover) < 0.05
    assert told > 50
    assert quiet > 50


def test_the_clear_ranges_are_all_there_are():
    # a gate 1 mm outside of each stated end is not clear: interval arithmetic
    (device,) = predict(braked(180.0, 260.0, 500.0, 600.0)).devices
    (before, within, after) = device.gates[0].clear_m
    assert before == pytest.approx((0.0, 0.080))
    assert within == pytest.approx((0.440, 0.580))
    assert after[0] == pytest.approx(0.940)
    assert after[1] is None
    for outside in (81.0, 439.0, 581.0, 939.0):
        assert np.ptp(cover_while_passing(outside, 180.0, 260.0, 500.0)) > 0.004


def test_the_sentence_names_gate_distance_shares_and_where_it_would_be_clear():
    told = predict(braked(180.0, 60.0, 900.0, 1000.0)).devices[0].words
    assert "Gate 1 at 1000 mm lies in the run-out of the brake" in told
    assert "with 78 % of its full strength as the leading end passes and with 0 %" in told
    assert "its distance from the release would be 240 mm to 780 mm, or 1140 mm or more" in told


def test_a_brake_too_short_for_a_clear_gate_within_names_the_places_outside_alone():
    told = predict(braked(300.0, 400.0, 100.0, 450.0)).devices[0].words
    assert "its distance from the release would be 100 mm or less, or 800 mm or more" in told


@pytest.mark.long
def test_force_at_a_gate_and_the_time_of_leaving_agree_with_an_integration_of_newtons_law():
    # Newton's second law with F = F_max 2r/(1 + r^2) times the overlap, by scipy.integrate.solve_ivp
    length, start, zone, peak, critical = 180.0, 60.0, 300.0, 3.0, 1.5
    found = predict(braked(length, start, zone, 300.0, peak, critical)).figures["brake"]

    def force(x, v):
        r = v / critical
        return -peak * 2 * r / (1 + r * r) * overlap(1e3 * x, length, start, zone) / zone

    def newton(t, y):
        return [y[1], G * math.sin(math.radians(30)) + force(*y) / 0.2]

    def leaves(t, y):
        return y[0] - 1e-3 * (start + zone + length)

    def front(t, y):
        return y[0] - 0.300

    def rear(t, y):
        return y[0] - 0.480

    path = solve_ivp(
        newton, (0, 5), [0.0, 0.0], events=(leaves, front, rear), rtol=1e-9, atol=1e-12, max_step=1e-3
    )
    gate = found["gates"][0]
    assert found["stay"]["leaves_s"] == pytest.approx(path.t_events[0][0], rel=1e-6)
    assert gate["front_force_N"] == pytest.approx(force(*path.y_events[1][0]), rel=1e-5)
    assert gate["rear_force_N"] == pytest.approx(force(*path.y_events[2][0]), rel=1e-5)


def test_a_part_that_stops_in_the_brake_leaves_it_never_and_has_no_force_at_gates_beyond():
    text = '[brake]\nstart = "50 mm"\nlength = "900 mm"\npeak_force = "1 N"\ncritical_speed = "9 m/s"\n'
    slope = '"10 deg"\nfriction = 0.4\nrelease_speed = "0.5 m/s"'
    held = rig(text, slope=slope, first='"300 mm"')
    told = predict(held)
    assert told.outcome == "stopped"
    brake = told.figures["brake"]
    assert brake["stay"]["leaves_s"] is None
    assert brake["gates"][0]["front_force_N"] is None


@pytest.mark.long
def test_what_magnets_hold_varies_within_what_is_said_between_their_ends():
    # the strength as the motion feels it, at 2,000 places between the two positions that are stated
    for count, pitch in ((12, 45), (20, 41), (8, 60)):
        scenario = slat('gap = "4 mm"', f'gap = "9 mm"\ncount = {count}\npitch = "{pitch} mm"')
        passed = run(scenario, Nominal(1))
        stay = predict(scenario).figures["brake"]["stay"]
        force, part, path = passed.rig.forces[0], passed.rig.part, passed.rig.path
        everywhere = np.linspace(-0.2, 2.0, 6000)
        strength = np.array([-float(force.strength(np.array([x]), part, path)[0]) for x in everywhere])
        share = strength / strength.max()
        between = (everywhere >= stay["full_from_m"]) & (everywhere <= stay["full_to_m"])
        assert between.sum() > 20
        assert share[between].min() >= 1.0 - stay["uneven"] - 1e-3
        outside = (everywhere < stay["enters_m"]) | (everywhere > stay["leaves_m"])
        assert share[outside].max() <= 0.021


@pytest.mark.long
def test_predict_json_explain_and_trace_all_tell_of_the_brake(tmp_path):
    file = tmp_path / "b.toml"
    assert CliRunner().invoke(cli, ["new", "--kind", "brake", "-o", str(file)]).exit_code == 0
    texts = {c: CliRunner().invoke(cli, [c, str(file)]).output for c in ("predict", "trace")}
    texts["explain"] = str(explain(parse_text(file.read_text(), str(file))))
    for text in texts.values():
        joined = re.sub(r"\s+", " ", text)
        for told in (
            "67.4 N at most, at 20 m/s",
            "steady speed of 0.5 m/s",
            "has let go when it is at 1140 mm",
            "Gate 3 at 1000 mm lies in the run-out of the brake",
        ):
            assert told in joined
    assert re.search(r"brake N .* brake N", texts["predict"])
    for command in ("predict", "trace"):
        found = json.loads(CliRunner().invoke(cli, [command, str(file), "--json"]).output)
        brake = (found[0] if isinstance(found, list) else found)["brake"]
        assert brake["stay"]["leaves_m"] == pytest.approx(1.14)
        assert [gate["gate"] for gate in brake["gates"]] == [1, 2, 3]
    assert trace(parse_text(file.read_text())).devices[0].key == "brake"


@pytest.mark.long
def test_proposals_say_their_numbers_and_another_machine_is_not_a_part_to_buy(tmp_path):
    file = tmp_path / "c.toml"
    assert CliRunner().invoke(cli, ["new", "--kind", "chute", "-o", str(file)]).exit_code == 0
    found = explain(parse_text(file.read_text(), str(file)))
    text = str(found)
    first = 1e3 * found.facts.scenario.gate.first.nominal
    assert f"all gates {first / 2:g} mm further from the release" in text
    assert f"gate 1 at {1.5 * first:g} mm instead of {first:g} mm, same spacing" in text
    takes = {remedy.change: remedy.takes for remedy in found.remedies.tried}
    assert takes["level rail with a spring launch"] == "build another machine"
    for remedy in found.remedies.tried:
        assert re.sub(r"\s+", "", remedy.how) in re.sub(r"\s+", "", text)


@pytest.mark.long
def test_a_motion_beyond_the_gates_that_is_not_computed_takes_no_answer_away():
    """Found by trying 300 random rigs: on the falling branch, with gates well inside a stiff brake."""
    table = (
        '[brake]\nstart = "138.01 mm"\nlength = "821.45 mm"\n'
        'terminal_speed = "2.55 m/s"\ncritical_speed = "0.107 m/s"\n'
    )
    lines = {"length": '"197.17 mm"', "first": '"393.99 mm"', "spacing": '"194.61 mm"'}
    told = predict(rig(table, slope='"79.5 deg"\nfriction = 0.17\nrelease_speed = "1.0 m/s"', **lines))
    assert told.figures["brake"]["stay"]["leaves_m"] == pytest.approx(1.15663)
    assert told.figures["brake"]["peak_force_N"] > 0.0
