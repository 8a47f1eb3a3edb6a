"""What a full disk, a reader that leaves, a kill and a foreign file can and cannot do."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from gatesim.commands.main import cli
from gatesim.ground.errors import InputError
from gatesim.ground.files import Target, same_file, target

SCENARIOS = Path(__file__).parent.parent / "scenarios"
DROP, CHUTE = SCENARIOS / "1-drop-dowel.toml", SCENARIOS / "2-chute-slat.toml"
posix = pytest.mark.skipif(os.name != "posix", reason="needs POSIX signals and devices")


def gatesim(*arguments, **options):
    return subprocess.run(
        [sys.executable, "-m", "gatesim", *map(str, arguments)],
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        check=False,
        **{"stdout": subprocess.PIPE, **options},
    )


def test_a_file_is_replaced_only_when_its_content_is_complete(tmp_path):
    kept = tmp_path / "kept.txt"
    kept.write_text("old")

    def half():
        yield b"half"
        raise RuntimeError

    with pytest.raises(RuntimeError), Target(kept, "table").writing() as stream:
        stream.writelines(half())
    assert kept.read_text() == "old"
    assert [f.name for f in tmp_path.iterdir()] == ["kept.txt"]
    Target(kept, "table").write("new")
    assert kept.read_text() == "new"


def test_a_link_stays_a_link_and_permissions_stay(tmp_path):
    real, link = tmp_path / "real.txt", tmp_path / "link.txt"
    real.write_text("old")
    real.chmod(0o640)
    link.symlink_to(real)
    Target(link, "table").write("new")
    assert link.is_symlink()
    assert real.read_text() == "new"
    assert real.stat().st_mode & 0o777 == 0o640


def test_no_file_that_is_read_may_be_written(tmp_path):
    own, link = tmp_path / "own.toml", tmp_path / "link.toml"
    own.write_bytes(DROP.read_bytes())
    os.link(own, link)
    assert same_file(own, link)
    with pytest.raises(InputError, match="it is read as well"):
        target(link, "page", read=[own])
    with pytest.raises(InputError, match="it is the page as well"):
        target(own, "figure", others=[Target(link, "page")])
    with pytest.raises(InputError, match="no directory"):
        target(tmp_path / "none" / "x.csv", "table")
    with pytest.raises(InputError, match="it is a directory"):
        target(tmp_path, "table")


OWN = [
    ("report", "own.toml", "-o", "own.toml"),
    ("study", "own.toml", "--trials", "10", "--csv", "own.toml"),
    ("study", "own.toml", "--trials", "10", "--state", "own.toml"),
    ("fit", "own.toml", "log.csv", "--unknown", "path.friction", "-o", "log.csv"),
    ("fit", "own.toml", "log.csv", "--unknown", "path.friction", "-o", "own.toml"),
    ("choose", "choose.toml", "-o", "choose.toml"),
    ("choose", "choose.toml", "-o", "own.toml"),
    ("study", "own.toml", "--csv", "x.png", "--figure", "x.png"),
    ("handover", "own.toml", "-o", "own.toml"),
]


@pytest.mark.parametrize("arguments", OWN, ids=[" ".join(a) for a in OWN])
def test_no_command_destroys_what_it_reads(tmp_path, arguments, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "own.toml").write_bytes(CHUTE.read_bytes())
    (tmp_path / "log.csv").write_text("dwell [1],capture [1]\n11911,2677\n11912,2676\n")
    wanted = 'shortest = "200 mm"\nlongest = "240 mm"\ntolerance = "50 mm"'
    (tmp_path / "choose.toml").write_text(f'base = "own.toml"\n[wanted]\n{wanted}\n')
    before = {f.name: f.read_bytes() for f in tmp_path.iterdir()}
    done = CliRunner().invoke(cli, list(arguments), standalone_mode=False)
    assert isinstance(done.exception, InputError), done.output
    assert {f.name: f.read_bytes() for f in tmp_path.iterdir()} == before


def test_a_study_that_is_refused_leaves_the_old_table(tmp_path):
    table = tmp_path / "old.csv"
    table.write_text("old")
    wrong = tmp_path / "wrong.toml"
    wrong.write_text("[part]\n")
    done = CliRunner().invoke(cli, ["study", str(wrong), "--csv", str(table)], standalone_mode=False)
    assert isinstance(done.exception, InputError)
    assert table.read_text() == "old"


@pytest.mark.parametrize("value", ["nan", "inf", "-inf"])
@pytest.mark.parametrize(
    "arguments",
    [("study", DROP, "--coverage"), ("handover", DROP, "-o", "h", "--guard"), ("feed", DROP, "--yield")],
)
def test_an_option_that_is_no_number_is_refused(arguments, value):
    done = CliRunner().invoke(cli, [*map(str, arguments), value], standalone_mode=False)
    assert isinstance(done.exception, click.UsageError)


@pytest.fixture
def small_disk(tmp_path):
    """A file system of 64 kB, where one can be mounted."""
    place = tmp_path / "small"
    place.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place)], capture_output=True, check=False
    )
    if done.returncode:
        pytest.skip("no small file system can be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@posix
@pytest.mark.skipif(sys.platform != "linux", reason="mounts a tmpfs")
def test_a_full_disk_leaves_the_old_file_and_one_sentence(small_disk):
    kept = small_disk / "kept.bin"
    kept.write_bytes(b"old")
    with pytest.raises(InputError, match=r"kept\.bin: the table cannot be written \(No space left"):
        Target(kept, "table").write(b"x" * 200_000)
    assert kept.read_bytes() == b"old"
    assert [f.name for f in small_disk.iterdir()] == ["kept.bin"]


@pytest.mark.long
@pytest.mark.parametrize("trials", ["20000", "300"])  # full at once; full when the last lines are flushed
@posix
@pytest.mark.skipif(sys.platform != "linux", reason="mounts a tmpfs")
def test_a_table_that_fills_the_disk_leaves_the_old_one_and_the_figures_so_far(small_disk, trials):
    table = small_disk / "trials.csv"
    table.write_bytes(b"old")
    (small_disk / "ballast").write_bytes(b"x" * 50_000)
    done = gatesim("study", DROP, "--trials", trials, "--workers", "1", "--csv", table)
    assert done.returncode == 2
    assert "four-edge" in done.stdout
    assert done.stderr.count("\n") == 1
    assert "No space left" in done.stderr
    assert table.read_bytes() == b"old"


@pytest.mark.long
@posix
def test_standard_output_that_is_full_is_exit_code_3_and_one_sentence():
    if not Path("/dev/full").exists():
        pytest.skip("no device that is always full")
    with Path("/dev/full").open("w") as full:
        done = gatesim("predict", DROP, stdout=full)
    assert done.returncode == 3
    assert done.stderr.count("\n") == 1
    assert "standard output cannot be written" in done.stderr


@pytest.mark.long
@posix
@pytest.mark.parametrize("arguments", [("predict", "--json", CHUTE), ("schema",)])
def test_a_reader_that_leaves_is_exit_code_3_without_a_word(arguments):
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "w") as nobody:
        done = gatesim(*arguments, stdout=nobody)
    assert (done.returncode, done.stderr) == (3, "")


@pytest.mark.long
@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8"])
@pytest.mark.parametrize("options", [[], ["--json"]])
def test_every_encoding_of_the_terminal_will_do(tmp_path, encoding, options):
    rig = tmp_path / "Rutsche-滑道-спуск.toml"
    text = CHUTE.read_text(encoding="utf-8").replace('title = "', 'title = "滑道 ½ √ \\u001b[31m', 1)
    rig.write_text(text, encoding="utf-8")
    environment = {**os.environ, "PYTHONIOENCODING": encoding}
    done = subprocess.run(
        [sys.executable, "-m", "gatesim", "predict", str(rig), *options],
        env=environment,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert b"\x1b" not in done.stdout
    done.stdout.decode(encoding)


@pytest.mark.long
@posix
def test_a_file_name_that_is_no_text_is_shown_as_far_as_it_can_be(tmp_path):
    name = os.path.join(os.fsencode(tmp_path), b"rig-\xff\xfe.toml")
    try:
        Path(os.fsdecode(name)).write_bytes(DROP.read_bytes())
    except OSError:
        pytest.skip("this file system takes only UTF-8 names")
    for options in ([], ["--json"]):
        done = subprocess.run(
            [sys.executable.encode(), b"-m", b"gatesim", b"predict", name, *[o.encode() for o in options]],
            capture_output=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        assert b"Traceback" not in done.stderr


def _children(pid):
    done = subprocess.run(["pgrep", "-P", str(pid)], capture_output=True, text=True, check=False)
    return [int(p) for p in done.stdout.split()]


def _alive(pid):
    try:
        return "State:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return False


@pytest.mark.long
@pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_no_worker_outlives_its_parent(number):
    command = [sys.executable, "-m", "gatesim", "study", str(CHUTE), "--trials", "50000000", "--workers", "3"]
    parent = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    for _ in range(300):
        if len(workers := _children(parent.pid)) >= 3:
            break
        time.sleep(0.1)
    assert len(workers) >= 3
    parent.send_signal(number)
    parent.communicate(timeout=60)  # the pipe's reader does not hang
    for _ in range(100):
        if not any(map(_alive, workers)):
            break
        time.sleep(0.1)
    assert not any(map(_alive, workers))
    assert parent.returncode == (-9 if number == signal.SIGKILL else 143)


@pytest.mark.long
@posix
def test_two_studies_do_not_share_a_state_file(tmp_path):
    state = tmp_path / "a.state"
    command = [
        sys.executable,
        "-m",
        "gatesim",
        "study",
        str(DROP),
        "--trials",
        "20000000",
        "--state",
        str(state),
    ]
    first = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for _ in range(300):
        if state.exists():
            break
        time.sleep(0.1)
    second = subprocess.run(command, capture_output=True, text=True, check=False)
    first.send_signal(signal.SIGINT)
    first.wait(timeout=60)
    assert second.returncode == 2
    assert "another study is writing it" in second.stderr
    assert second.stderr.count("\n") == 1


@pytest.mark.long
def test_a_very_long_line_of_a_log_is_not_echoed_whole(tmp_path):
    log = tmp_path / "long.csv"
    log.write_text("dwell [1],capture [1]\n11911,2677\n" + "9" * 50_000 + "x," + "7" * 50_000 + "\n")
    done = gatesim("fit", CHUTE, log, "--unknown", "path.friction")
    assert len(done.stdout) + len(done.stderr) < 5_000


@pytest.mark.long
def test_a_title_of_megabytes_is_refused_at_once(tmp_path):
    rig = tmp_path / "rig.toml"
    text = CHUTE.read_text(encoding="utf-8")
    rig.write_text(text.replace('title = "', 'title = "' + "x" * 10_000_000, 1), encoding="utf-8")
    done = gatesim("predict", rig)
    assert done.returncode == 2
    assert "expected text of at most 200 characters" in done.stderr
    assert len(done.stderr) < 1_000


@pytest.mark.long
def test_an_absurd_number_of_workers_is_capped_with_a_word():
    done = gatesim("study", DROP, "--trials", "100", "--workers", "100000")
    assert done.returncode == 0
    assert "--workers 100000: more than this machine's" in done.stderr


@pytest.mark.long
@posix
@pytest.mark.parametrize("command", [("feed", "--parts", "2000000"), ("study", "--trials", "50000000")])
def test_ctrl_c_stops_within_two_seconds(command):
    name, *options = command
    begun = [sys.executable, "-m", "gatesim", name, str(CHUTE), *options, "--workers", "2"]
    running = subprocess.Popen(begun, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    time.sleep(8.0)
    assert running.poll() is None
    running.send_signal(signal.SIGINT)
    stopped = time.monotonic()
    running.wait(timeout=60)
    assert running.returncode == 130
    assert time.monotonic() - stopped < 6.0  # 2 s on a machine that does nothing else
