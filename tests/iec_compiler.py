"""Compiles Structured Text with an IEC 61131-3 compiler to C, and that with gcc and its sanitizers.

The compiler (to C, second edition and parts of the third) stands outside this project: in the
folder that the environment variable IEC_COMPILER names, or beside the checkout.
"""

import os
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
FOLDER = Path(os.environ.get("IEC_COMPILER", ROOT.parent / "shared" / "tools" / "iec"))

needs_compiler = pytest.mark.skipif(
    not (FOLDER / "iec2c").is_file() or shutil.which("gcc") is None,
    reason=f"needs gcc and an IEC 61131-3 compiler at {FOLDER} (or where IEC_COMPILER says)",
)


HEAD = """
#include <stdio.h>
#include "iec_std_lib.h"
TIME __CURRENT_TIME;
BOOL __DEBUG;
#include "POUS.h"
#include "POUS.c"
"""


def compiled(folder: Path, text: str, main: str) -> Path:
    """The program ``main`` (C) over the functions and programs of ``text``, sanitized."""
    (folder / "all.st").write_text(text, encoding="ascii")
    made = subprocess.run(
        [FOLDER / "iec2c", "-I", FOLDER / "lib", "-T", folder, folder / "all.st"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert made.returncode == 0, made.stdout + made.stderr
    (folder / "main.c").write_text(HEAD + main)
    sanitize = ["-fsanitize=address,undefined", "-fno-sanitize-recover=all"]
    subprocess.run(
        [
            "gcc",
            "-w",
            "-g",
            *sanitize,
            "-I",
            FOLDER / "lib" / "C",
            "-I",
            folder,
            "-o",
            folder / "run",
            folder / "main.c",
        ],
        check=True,
    )
    return folder / "run"


def run(program: Path, lines: Sequence[str]) -> list[list[int]]:
    """Numbers that the program prints for every line."""
    ran = subprocess.run(
        [program], input="\n".join(lines) + "\n", capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stderr
    return [[int(number) for number in line.split()] for line in ran.stdout.splitlines()]


def caller(functions: Sequence[tuple[str, int, bool]]) -> str:
    """C that reads a function's number and its registers a line, and prints length, status, accept.

    ``functions``: name, number of registers, whether it has an output Accept.
    """
    cases = ""
    for number, (name, registers, accepts) in enumerate(functions):
        arguments = ", ".join(["1", "NULL", *(f"r[{i}]" for i in range(registers)), "&status"])
        arguments += ", &accept" if accepts else ""
        cases += f"case {number}: length = {name.upper()}({arguments}); break;\n"
    return f"""
int main(void) {{
    int which;
    unsigned long r[4];
    while (scanf("%d %lu %lu %lu %lu", &which, r, r + 1, r + 2, r + 3) == 5) {{
        INT status = 99; BOOL accept = 9; DINT length = 0;
        switch (which) {{ {cases} }}
        printf("%ld %d %d\\n", (long) length, (int) status, (int) accept);
    }}
    return 0;
}}
"""
