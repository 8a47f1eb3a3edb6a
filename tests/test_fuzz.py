"""No file, however wrong, leads to a traceback, an undocumented exit code, a nan shown, or a long silence."""

import json
import random
import re
import signal
import sys
import tomllib
from contextlib import contextmanager
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from gatesim.commands.main import cli
from gatesim.ground.errors import FileErrors, InputError
from tests.choices import small_choice
from tests.mutations import mutate, mutated_csv, scrambled, toml_bytes

try:
    import resource
except ImportError:  # Windows
    resource = None

ROOT = Path(__file__).parent.parent / "scenarios"
RAW = [tomllib.loads(file.read_text(encoding="utf-8")) for file in sorted(ROOT.glob("*.toml"))]
CHUTE = tomllib.loads((ROOT / "2-chute-slat.toml").read_text(encoding="utf-8"))
CHOICE = small_choice()
LOG = "dwell [1],capture [1],rear capture [1],reference [mm],part,operator\n" + "\n".join(
    f"{11900 + 7 * i},{2670 + i},{14100 + 8 * i},240.0{i % 4},p{i % 4},{'ab'[i % 2]}" for i in range(24)
)
SECONDS = 180
"""Most processor time of a case."""
MOST_MEMORY = 2_000_000_000
"""Most bytes that the process may ever have held, all cases so far together."""
NOT_A_NUMBER = re.compile(
    r"(?<![\w\"'-])(?<!given )-?(nan|inf|infinity)(?!\w)", re.IGNORECASE
)  # unless quoted, or what was given


@contextmanager
def limited_time():
    """A case that takes too long is a failure, where the system has such clocks."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def late(number, frame):
        raise AssertionError(f"took more than {SECONDS} s")

    before = signal.signal(signal.SIGPROF, late)
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def memory_used():
    """Bytes that the process held at most, where the system tells."""
    if resource is None:
        return 0
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most if sys.platform == "darwin" else 1024 * most


def call(*arguments):
    """Exit code and standard output as the command line would give them."""
    with limited_time():
        done = CliRunner().invoke(cli, [str(a) for a in arguments], standalone_mode=False)
    assert memory_used() < MOST_MEMORY
    if isinstance(done.exception, InputError | click.ClickException | ArithmeticError):
        message = str(done.exception)
        faults = done.exception.faults if isinstance(done.exception, FileErrors) else ()
        lines = len(faults) if len(faults) > 1 else 0  # a line each, below the one that counts them
        assert message.count("\n") == lines or isinstance(done.exception, click.ClickException), message
        return 2, done.stdout
    if done.exception is not None:
        raise done.exception
    return done.return_value if isinstance(done.return_value, int) else 0, done.stdout


def check(code, out, allowed=(0, 2)):
    assert code in allowed
    assert not (code == 2 and out), "bad input printed a result as well"
    said = " ".join(out.split())  # as lines may end between "given" and what was given
    found = NOT_A_NUMBER.search(said)
    assert found is None, said[max(0, found.start() - 200) : found.end() + 50]
    if out.startswith(("{", "[")):
        json.loads(out, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))


CHEAP = (["predict"], ["predict", "--json"])
DEAR = (
    ["trace"],
    ["trace", "--json"],
    ["study", "--trials", "64", "--workers", "1"],
    ["study", "--trials", "64", "--workers", "1", "--json"],
    ["explain"],
    ["explain", "--json"],
    ["budget", "--trials", "64", "--workers", "1"],
    ["sweep", "--vary", "gate.spacing=60mm:90mm:2", "--trials", "16", "--workers", "1"],
    ["feed", "--parts", "200", "--workers", "1"],
)


def scenario_cases(seed, count, commands, file, raw=RAW):
    random_ = random.Random(seed)
    for _ in range(count):
        wrong = mutate(random_.choice(raw), random_, raw)
        if NOT_A_NUMBER.search(str(wrong.get("title"))):
            del wrong["title"]  # a word of the user
        file.write_bytes(toml_bytes(wrong, random_))
        name, *options = random_.choice(commands)
        check(*call(name, file, *options))


@pytest.mark.parametrize("seed", range(2))  # more of all kinds below
def test_a_wrong_scenario_is_a_sentence_or_a_result(tmp_path, seed):
    scenario_cases(seed, 225, CHEAP, tmp_path / "x.toml")


def log_cases(seed, count, folder):
    random_ = random.Random(seed)
    log, rig, out = folder / "log.csv", folder / "rig.toml", folder / "out.toml"
    for _ in range(count):
        log.write_bytes(mutated_csv(LOG, random_))
        rig.write_bytes(toml_bytes(mutate(CHUTE, random_, RAW) if random_.random() < 0.3 else CHUTE, random_))
        limits = ["--lower", "239 mm", "--upper", "241 mm"]
        commands = (
            ["fit", rig, log, "--unknown", "path.friction", "-o", out],
            ["fit", rig, log, "--unknown", "path.friction", "--json"],
            ["qualify", log, "--rig", rig, *limits],
            ["qualify", log, "--rig", rig, *limits, "--json"],
        )
        chosen = random_.choice(commands)
        code, printed = call(*chosen)
        # an estimate that no rig can have is shown, and its file is refused
        check(code, "" if code == 2 and "-o" in chosen else printed, allowed=(0, 1, 2))


def test_a_wrong_log_is_a_sentence_or_a_result(tmp_path):
    log_cases(0, 6, tmp_path)


def state_cases(seed, count, folder):
    random_ = random.Random(seed)
    state, rig = folder / "study.state", ROOT / "1-drop-dowel.toml"
    arguments = ["study", rig, "--trials", "64", "--workers", "1", "--state", state]
    assert call(*arguments)[0] == 0
    whole = state.read_bytes()
    for _ in range(count):
        state.write_bytes(scrambled(whole, random_))
        check(*call(*arguments))


def test_a_wrong_state_file_is_a_sentence(tmp_path):
    state_cases(0, 25, tmp_path)


def choice_cases(seed, count, folder):
    random_ = random.Random(seed)
    file = folder / "choose.toml"
    for _ in range(count):
        file.write_bytes(toml_bytes(mutate(CHOICE, random_, [CHOICE, *RAW]), random_))
        check(*call("choose", file, "--trials", "10", "--workers", "1"), allowed=(0, 1, 2))


@pytest.mark.long(seconds=13)
@pytest.mark.parametrize("seed", range(100, 120))
def test_many_wrong_files_over_all_commands(tmp_path, seed):
    """20,000 cases in all."""
    scenario_cases(seed, 850, CHEAP, tmp_path / "x.toml")
    scenario_cases(seed, 90, DEAR, tmp_path / "x.toml")
    log_cases(seed, 25, tmp_path)
    state_cases(seed, 30, tmp_path)
    choice_cases(seed, 5, tmp_path)
