"""Edge times: dumps that an independent reader reads, records that are cut into passages and counted."""

import io
from pathlib import Path

import numpy as np
import pytest
import vcd.reader
import vcd.writer
from click.testing import CliRunner

import gatesim
from gatesim.commands.main import cli
from gatesim.ground.valuechange import read, written
from gatesim.shopfloor.log import read_log

FOLDER = Path(__file__).parent.parent / "scenarios"
LAUNCHED = FOLDER / "4-launched-spacer.toml"  # has no input filter


def independently_read(text):
    """Time steps at which each signal takes 0 or 1, by pyvcd."""
    names, found, now = {}, {}, 0
    for token in vcd.reader.tokenize(io.BytesIO(text.encode("ascii"))):
        if token.kind is vcd.reader.TokenKind.TIMESCALE:
            assert str(token.timescale) == "1 ns"
        elif token.kind is vcd.reader.TokenKind.VAR:
            names[token.var.id_code] = token.var.reference
            found[token.var.reference] = []
        elif token.kind is vcd.reader.TokenKind.CHANGE_TIME:
            now = token.time_change
        elif token.kind is vcd.reader.TokenKind.CHANGE_SCALAR:
            change = token.scalar_change
            found[names[change.id_code]].append((now, int(change.value)))
    return found


@pytest.mark.long
@pytest.mark.parametrize("name", ["2-chute-slat", "4-launched-spacer", "8a-chatter-stable-for"])
def test_an_independent_reader_finds_the_simulated_edges_to_the_time_scale(name, tmp_path):
    file = tmp_path / "passage.vcd"
    CliRunner().invoke(cli, ["trace", str(FOLDER / f"{name}.toml"), "-o", str(file)], catch_exceptions=False)
    found = independently_read(file.read_text(encoding="ascii"))
    trace = gatesim.trace(gatesim.load(FOLDER / f"{name}.toml"))
    assert trace.gates[0].sensed.size >= 2
    for gate in trace.gates:
        for signal, times in (("sensor", gate.sensed), ("input", gate.filtered)):
            changes = found[f"gate{gate.gate}_{signal}"]
            assert changes[0] == (0, 0)
            assert [step for step, _ in changes[1:]] == np.rint(1e9 * times).astype(int).tolist()
            assert [level for _, level in changes[1:]] == [(n + 1) % 2 for n in range(times.size)]


def test_what_is_written_is_read_back_exactly():
    rng = np.random.default_rng(1)
    signals = {f"s{k}": np.unique(rng.integers(1, 10**9, 50)) * 1e-9 for k in range(120)}
    found = read(written(signals, 2.0))
    assert set(found) == set(signals)
    for name, times in signals.items():
        assert np.rint(1e9 * found[name].time[1:]).tolist() == np.rint(1e9 * times).tolist()
        assert found[name].high == tuple(n % 2 == 1 for n in range(times.size + 1))


def test_a_pulse_within_one_time_step_is_left_out():
    assert read(written({"a": np.array([1e-6, 1.0000001e-6, 2e-6])}, 1e-5))["a"].time == pytest.approx(
        [0.0, 2e-6]
    )


def test_a_dump_of_an_independent_writer_is_read():
    stream = io.StringIO()
    with vcd.writer.VCDWriter(stream, timescale="10 us", comment="a # b") as writer:
        one = writer.register_var("top.first", "D0", "wire", size=1, init=1)
        bus = writer.register_var("top", "bus", "reg", size=8, init=3)
        two = writer.register_var("top.second", "D0", "wire", size=1, init="x")
        for time, variable, value in ((3, one, 0), (4, bus, 7), (5, two, 1), (7, one, 1), (9, two, 0)):
            writer.change(variable, time, value)
    found = read(stream.getvalue())
    assert list(found) == ["D0", "top.second.D0"]
    assert found["D0"].time == pytest.approx([0.0, 30e-6, 70e-6])
    assert found["D0"].high == (True, False, True)
    assert found["top.second.D0"].high == (True, False)


def test_the_counts_of_a_recorded_passage_are_those_of_the_counter(tmp_path):
    """A rig without input filter: counted from its recorded edges by hand, and as predicted."""
    file, log = tmp_path / "passage.vcd", tmp_path / "log.csv"
    trace = gatesim.trace(gatesim.load(LAUNCHED))
    trace.save(file)
    gates = {gate.gate: f"gate{gate.gate}_sensor" for gate in trace.gates}
    found = gatesim.edges(file, gate=gates, clock="100 kHz")
    assert len(found.passages) == 1
    found.save(log)
    counts = {name: float(values[0]) for name, values in read_log(log).numbers.items()}
    predicted = {moment.register: moment.count for moment in trace.moments if moment.count is not None}
    assert predicted["dwell"] > 1000
    for name, count in predicted.items():
        assert abs(counts[name] - count) <= 1, name


BOUNCY = """\
time [ms],D0,D1
0,1,1
10,0,1
10.2,1,1
10.3,0,1
30,0,0
110,1,0
140,1,1
500,0,1
520,0,0
600,1,0
640,1,1
"""


@pytest.mark.parametrize("form", ["a change", "an edge", "semicolons"])
def test_a_record_is_cut_into_passages_with_dwell_delay_and_chatter(form, tmp_path):
    text = BOUNCY
    if form == "an edge":
        rows = [line.split(",") for line in BOUNCY.splitlines()[1:]]
        text = "time [ms],channel,level\n" + "".join(f"{t},D0,{a}\n{t},D1,{b}\n" for t, a, b in rows)
    elif form == "semicolons":
        text = BOUNCY.replace(",", ";").replace("10.2", "10,2").replace("10.3", "10,3")
    file = tmp_path / "record.csv"
    file.write_text(text, encoding="utf-8-sig")
    found = gatesim.edges(file, dark="low", quiet="100 ms")
    assert found.channels == {1: "D0", 2: "D1"}
    first, second = found.passages
    assert first[1].dwell == pytest.approx(0.1)
    assert [first[gate].extra for gate in (1, 2)] == [2, 0]
    assert first[2].front - first[1].front == pytest.approx(0.02)
    assert second[2].rear == pytest.approx(0.64)
    assert "gate 1: dwell 100.0000 ms on average (100.0000 to 100.0000 ms), 2 extra edges" in str(found)
    assert len(gatesim.edges(file, dark="low", quiet="400 ms").passages) == 1


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "the file is empty"),
        ("a,b\n1,0\n", "line 1: given 'a,b', expected a header such as"),
        ("time [mm],D0\n1,0\n", "line 1: given the unit 'mm'"),
        ("time [ms],D0\n1,2\n", "line 2: given the level '2', expected 0 or 1"),
        ("time [ms],D0\nx,1\n", "line 2: given the time 'x', expected a number"),
        ("time [ms],D0\n1,1,1\n", "line 2: 3 fields, expected 2"),
        ("time [ms],D0\n2,1\n1,0\n", "its times do not rise"),
        ("time [ms],D0\n1,0\n", "no gate goes dark and light again"),
        ("$timescale 3 ns $end $enddefinitions $end", "it has no $timescale such as 1 ns"),
    ],
)
def test_a_wrong_record_is_refused_in_a_sentence(text, sentence, tmp_path):
    file = tmp_path / "record.csv"
    file.write_text(text)
    with pytest.raises(gatesim.InputError) as problem:
        gatesim.edges(file)
    assert sentence in str(problem.value)
    assert str(problem.value).startswith(str(file))


@pytest.mark.long
def test_a_measured_passage_is_laid_over_the_simulated_one(tmp_path):
    """The simulated edges, later by 3 s and light 0.25 ms late at gate 2, come back as just that."""
    trace = gatesim.trace(gatesim.load(LAUNCHED))
    rows = [
        (3.0 + t, f"g{g.gate}", (n + 1) % 2) for g in trace.gates for n, t in enumerate(g.sensed.tolist())
    ]
    rows = [(t + 0.25e-3 * (name == "g2" and level == 0), name, level) for t, name, level in sorted(rows)]
    start = "".join(f"0,g{gate},0\n" for gate in (1, 2, 3))
    body = "".join(f"{t!r},{name},{level}\n" for t, name, level in rows)
    file = tmp_path / "real.csv"
    file.write_text(f"time [s],channel,level\n{start}{body}")
    laid = gatesim.trace(gatesim.load(LAUNCHED), measured=file, quiet="1 s")
    assert laid.measured[1] == pytest.approx(trace.gates[0].sensed, abs=1e-9)
    assert "gate 2: dark +0.0000 ms, light +0.2500 ms against the simulated sensor" in str(laid)
    lanes = [text.get_text() for axes in laid.plot().figure.axes for text in axes.get_yticklabels()]
    assert lanes.count("measured") == 3
    assert "laid over" not in str(trace)
