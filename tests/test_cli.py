"""The command line: exit codes, one sentence for bad input, JSON."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from gatesim.commands import main as cli

SCENARIOS = sorted((Path(__file__).parent.parent / "scenarios").glob("[1-6]-*.toml"))


def call(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "gatesim", *map(str, arguments)], capture_output=True, text=True, check=False
    )


@pytest.mark.skipif(
    not Path("/proc/self/task").is_dir(), reason="the system does not list a process's threads"
)
def test_a_command_has_one_thread_and_what_it_imported_is_not_looked_through_on_leaving():
    code = """
import atexit, gc, os, sys
from gatesim.commands.main import main
def told():
    kept = gc.get_freeze_count()
    print(len(os.listdir("/proc/self/task")), kept > 9 * len(gc.get_objects()), "numpy" in sys.modules)
atexit.register(told)
main()
"""
    command = [sys.executable, "-c", code, "predict", str(SCENARIOS[0])]
    environment = {key: value for key, value in os.environ.items() if not key.endswith("_NUM_THREADS")}
    done = subprocess.run(command, capture_output=True, text=True, env=environment, check=True)
    assert done.stdout.splitlines()[-1] == "1 True True"


def test_several_rigs_are_compared_in_one_table():
    done = call("predict", *SCENARIOS[:6])
    assert done.returncode == 0, done.stderr
    assert "closest" in done.stdout
    assert done.stdout.count("measured") >= 6


@pytest.mark.long
def test_json_has_one_entry_a_file_with_unrounded_numbers():
    done = call("predict", "--json", SCENARIOS[1])
    (entry,) = json.loads(done.stdout)
    assert set(entry) >= {
        "scenario",
        "true_length_m",
        "outcome",
        "explanation",
        "crossings",
        "counts",
        "readings",
    }
    assert set(entry["crossings"][0]) == {
        "gate",
        "position_m",
        "front_s",
        "rear_s",
        "front_speed_m_per_s",
        "rear_speed_m_per_s",
    }
    reading = entry["readings"][0]
    assert reading["error_m"] == reading["length_m"] - entry["true_length_m"]


def test_bad_input_is_one_sentence_and_exit_code_2(tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text(SCENARIOS[0].read_text(encoding="utf-8").replace("spacing", "spacng"), encoding="utf-8")
    done = call("predict", bad)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "did you mean 'spacing'?" in done.stderr


@pytest.mark.long
def test_an_unknown_command_or_option_is_exit_code_2():
    assert call("predct").returncode == 2
    assert call("predict", "--jsn", SCENARIOS[0]).returncode == 2


def test_every_command_listed_exists():
    for name in cli.COMMANDS:
        assert CliRunner().invoke(cli.cli, [name, "--help"]).exit_code == 0, name


TEXTS = [file.read_text(encoding="utf-8") for file in SCENARIOS]
WORDS = sorted({word for text in TEXTS for word in text.split()})


@st.composite
def mutated(draw):
    """A scenario of the repository with one to three random wounds."""
    lines = draw(st.sampled_from(TEXTS)).splitlines()
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(lines) - 1))
        kind = draw(st.integers(0, 6))
        if kind == 0:
            del lines[at]
        elif kind == 1:
            lines.insert(at, draw(st.sampled_from(lines)))
        elif kind == 2:
            lines[at] = lines[at].replace(draw(st.sampled_from('"=[]{}.,')), "", 1)
        elif kind == 3:
            number = draw(st.sampled_from(["0", "-1", "1e9", "1e-9", "nan", "inf", "1e400", "7"]))
            lines[at] = "".join(number if c.isdigit() else c for c in lines[at][:40])
        elif kind == 4:
            words = lines[at].split(" ")
            words[draw(st.integers(0, len(words) - 1))] = draw(st.sampled_from(WORDS))
            lines[at] = " ".join(words)
        elif kind == 5:
            cut = draw(st.integers(0, len(lines[at])))
            lines[at] = lines[at][:cut] + draw(st.text(max_size=3)) + lines[at][cut:]
        else:
            old, new = draw(
                st.sampled_from([("mm", "kg"), ("mm", "km"), ("us", "s"), ("deg", "rad"), ("0", "9")])
            )
            lines[at] = lines[at].replace(old, new)
        if not lines:
            break
    return "\n".join(lines)


@pytest.mark.long
@pytest.mark.parametrize("part", range(4))
def test_2000_mutated_files_end_with_exit_code_0_or_2_and_no_traceback(part, tmp_path, monkeypatch, capsys):
    file = tmp_path / "mutated.toml"
    monkeypatch.setattr(sys, "argv", ["gatesim", "predict", str(file)])

    @seed(part)  # each part its own 500 files, the same in every run
    @settings(max_examples=500, deadline=None, suppress_health_check=list(HealthCheck), database=None)
    @given(mutated())
    def check(text):
        file.write_text(text, encoding="utf-8", errors="replace")
        with pytest.raises(SystemExit) as end:
            cli.main()
        printed = capsys.readouterr()
        assert end.value.code in (0, 2), text
        if end.value.code == 2:
            assert printed.out == ""
            assert printed.err.startswith("gatesim: ")

    check()
