"""A copy of the package with one member of a family more, and commands run on it."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import gatesim

ROOT = Path(__file__).parent.parent
PACKAGE = Path(gatesim.__file__).parent

RUN = """
import sys
from click.testing import CliRunner
from gatesim.commands.main import cli
for line in sys.stdin.read().splitlines():
    found = CliRunner().invoke(cli, line.split("|"), catch_exceptions=False)
    print("####", found.exit_code, found.output)
"""


def package_with(
    folder: Path, family: str, file: str, source: str, *lines: tuple[str, str], registry: str = "__init__.py"
) -> Path:
    """A copy in ``folder`` with one file more in a family, and its registry with each line after another."""
    shutil.copytree(PACKAGE, folder / "gatesim")
    (folder / "gatesim" / family / file).write_text(source.lstrip(), encoding="utf-8")
    path = folder / "gatesim" / family / registry
    text = path.read_text(encoding="utf-8")
    for after, line in lines:
        assert text.count(after) == 1, after
        text = text.replace(after, after + line)
    path.write_text(text, encoding="utf-8")
    return folder


def run(folder: Path, *command: str, stdin: str = "") -> "subprocess.CompletedProcess[str]":
    """Python with the copy in ``folder``, run there."""
    return subprocess.run(
        [sys.executable, *command],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder), "MPLBACKEND": "agg"},
        input=stdin,
        capture_output=True,
        text=True,
        check=False,
    )


def answers(folder: Path, *commands: str) -> list[str]:
    """What commands with arguments parted by | print, all of which must end with exit code 0."""
    found = run(folder, "-c", RUN, stdin="\n".join(commands))
    assert found.returncode == 0, found.stderr
    parts = [part.split(" ", 1) for part in re.split(r"^#### ", found.stdout, flags=re.MULTILINE)[1:]]
    assert [code for code, _ in parts] == ["0"] * len(commands), found.stdout
    return [said for _, said in parts]
