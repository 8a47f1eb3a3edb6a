"""A changed constant anywhere in the chain makes `gatesim verify` fail: forty one-spot changes, one at a time."""

import compileall
import os
import shutil
import subprocess
import sys
from contextlib import contextmanager
from py_compile import PycInvalidationMode

import pytest

from tests.house import PACKAGE

# file, what stands there, what is put there instead
# fmt: off
CHANGES = [
    ("motion/path.py", "STANDARD_GRAVITY = 9.80665", "STANDARD_GRAVITY = 9.81"),
    ("motion/path.py", "self.gravity * np.sin(self.slope)", "self.gravity * np.tan(self.slope)"),
    ("motion/path.py", "np.abs(np.cos(self.slope))", "np.abs(np.sin(self.slope))"),
    ("motion/force/airdrag.py", "return -0.5 * self.density", "return -0.51 * self.density"),
    ("motion/force/launch.py", "(self.stretch - x) + path", "(self.stretch - 0.9 * x) + path"),
    ("motion/force/launch.py", "np.where(x < self.stretch, self.carrier_mass", "np.where(x > 9, self.carrier_mass"),
    ("motion/force/eddybrake.py", "below += self.critical_speed * self.critical_speed", "below += self.critical_speed"),
    ("motion/force/eddybrake.py", "full * (1 + ratio**2) / (2 * ratio)", "full * (1 + ratio) / (2 * ratio)"),
    ("motion/force/eddybrake.py", "return -2 * self.peak_force", "return -1.98 * self.peak_force"),
    ("motion/magnets/shapes.py", "MU_0 = 1.25663706212e-6", "MU_0 = 1.35663706212e-6"),
    ("motion/magnets/tube.py", "return 2 * 2 * pi * half", "return 2 * pi * half"),
    ("motion/belt/belt.py", "* early / 2) * early + self.speed * late", "* early / 2) * early + 1.01 * self.speed * late"),
    ("sensor/beam/circular.py", "np.pi / 4.0 * self.diameter**2", "np.pi / 4.1 * self.diameter**2"),
    ("sensor/beam/circular.py", "0.5 * radius**2 * (share", "0.5 * radius**2 * (0.99 * share"),
    ("sensor/receiver.py", "-np.log((light[-1] - share)", "-np.log10((light[-1] - share)"),
    ("part/part.py", "full = 0.5 * part.height", "full = 0.45 * part.height"),
    ("inputfilter/stablefor.py", "held(times, self.time) + column(self.time)", "held(times, self.time) + column(1.01 * self.time)"),
    ("ground/transition.py", "(until <= following)", "(until >= following)"),
    ("inputfilter/holdoff.py", "free = np.where(takes, now + time, free)", "free = np.where(takes, now + 1.1 * time, free)"),
    ("inputfilter/majority.py", "needed - so_far)", "needed - 1 - so_far)"),
    ("counter/source/clock.py", "self.frequency * (1.0 + np.asarray(self.error))", "self.frequency * (1.0 - np.asarray(self.error))"),
    ("counter/source/clock.py", "* 0.5 * elapsed**2", "* elapsed**2"),
    ("counter/source/clock.py", "np.floor(progress + phase[:, :1])", "np.round(progress + phase[:, :1])"),
    ("counter/source/encoder.py", "/ (np.pi * diameter)", "/ (3.0 * diameter)"),
    ("counter/counter.py", "top = 2.0**counter.width", "top = 2.0 ** (counter.width + 1)"),
    ("formula/spacing_dwell.py", "constants.spacing * ratio(counts.dwell, counts.capture)", "constants.spacing * ratio(counts.dwell, counts.capture + 1.0)"),
    ("formula/known_acceleration.py", "0.5 * constants.acceleration", "0.6 * constants.acceleration"),
    ("formula/fixed_release.py", "return reached**2 - constants.release_distance", "return reached**2"),
    ("formula/rear_edge.py", "return 0.5 * constants.spacing", "return 0.501 * constants.spacing"),
    ("formula/four_edge.py", "middles = 0.5 *", "middles = 0.52 *"),
    ("formula/three_gates.py", "acceleration = 2.0 *", "acceleration = 2.1 *"),
    ("formula/encoder_pitch.py", "constants.pitch * counts.dwell", "constants.pitch * (counts.dwell + 1.0)"),
    ("formula/base.py", "speed * dwell + 0.5 * acceleration", "speed * dwell + 0.6 * acceleration"),
    ("ground/distribution.py", "return self.half_width / math.sqrt(3.0)", "return self.half_width / math.sqrt(3.1)"),
    ("ground/distribution.py", "(1.0 + self.top_ratio**2) / 6.0", "(1.0 + self.top_ratio) / 6.0"),
    ("studies/convention.py", 'Convention("iso", 0.2, 4.0', 'Convention("iso", 0.2, 5.0'),
    ("shopfloor/decision.py", "guard = factor * std", "guard = 0.9 * factor * std"),
    ("shopfloor/typeone.py", "std = float(np.std(indications, ddof=1))", "std = float(np.std(indications))"),
    ("shopfloor/gaugestudy.py", 'v["total"] = v["gauge"] + v["part"]', 'v["total"] = v["part"]'),
    ("studies/budget.py", "math.sqrt(", "1.01 * math.sqrt("),
]
# fmt: on

SURVIVORS_ALLOWED = 2


@pytest.fixture(scope="module")
def copy(tmp_path_factory):
    folder = tmp_path_factory.mktemp("changed")
    shutil.copytree(PACKAGE, folder / "gatesim", ignore=shutil.ignore_patterns("__pycache__"))
    # by content, so that the one file that is changed, and no other, is compiled anew
    compileall.compile_dir(folder, quiet=1, invalidation_mode=PycInvalidationMode.CHECKED_HASH)
    return folder


# What `gatesim verify` runs, in the order given, up to the first that fails; each check's processor time is printed.
# A child with the changed package for every line that is read: libraries are imported once, by the parent.
FIRST_FAILURE = """
import os
import sys
from contextlib import suppress
from importlib import import_module
from time import process_time

def verify(order):
    from gatesim.shopfloor.evidence.check import carried_out
    from gatesim.shopfloor.evidence.gather import checks
    every = list(checks())
    for number in order or range(len(every)):
        begun = process_time()
        if carried_out(*every[number]).passed is False:
            return 1
        print(number, process_time() - begun)
    print("libraries", *(name for name in list(sys.modules) if name.partition(".")[0] != "gatesim"))
    return 0

for line in sys.stdin:
    first, *rest = line.split()
    if first == "import":
        for name in rest:
            with suppress(Exception):  # of no use by itself
                import_module(name)
        continue
    child = os.fork()
    if child == 0:
        code = 1
        with suppress(BaseException):
            code = verify(list(map(int, rest)))
        sys.stdout.flush()
        os._exit(code)
    print("code", os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


@contextmanager
def verifying(folder):
    """A function that runs the copy's checks in an order: exit code, and lines that they print."""
    environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    with subprocess.Popen(
        [sys.executable, "-c", FIRST_FAILURE],
        cwd=folder, env=environment, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    ) as parent:  # fmt: skip

        def verified(*words):
            print(*words, file=parent.stdin, flush=True)
            lines = []
            while not lines or lines[-1][0] != "code":
                lines.append(parent.stdout.readline().split())
            return int(lines[-1][1]), lines[:-1]

        def knows(*libraries):
            print("import", *libraries, file=parent.stdin, flush=True)

        yield verified, knows
        parent.stdin.close()


def test_every_change_finds_what_it_changes():
    missing = [
        change for change in CHANGES if change[1] not in (PACKAGE / change[0]).read_text(encoding="utf-8")
    ]
    assert missing == []


@pytest.mark.long(seconds=20)
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs processes that fork")
def test_at_least_38_of_40_changes_are_caught(copy):
    assert len(CHANGES) == 40
    with verifying(copy) as (verified, knows):
        code, lines = verified("verify")
        assert code == 0
        *times, libraries = lines
        knows(*libraries[1:])
        cheap_first = [number for number, _ in sorted(times, key=lambda each: float(each[1]))]
        survivors = []
        for name, there, instead in CHANGES:
            file = copy / "gatesim" / name
            text = file.read_text(encoding="utf-8")
            file.write_text(text.replace(there, instead, 1), encoding="utf-8")
            if verified("verify", *cheap_first)[0] == 0:
                survivors.append((name, instead))
            file.write_text(text, encoding="utf-8")
    assert len(survivors) <= SURVIVORS_ALLOWED, survivors
