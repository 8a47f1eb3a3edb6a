"""What a command prints: text that any terminal can show, JSON that any reader can read."""

import json
import os
import sys
from contextlib import suppress
from typing import Any

# C0 and C1 controls but tab and line feed, and what turns the direction of text
_CONTROLS = [*range(9), *range(11, 32), *range(127, 160), *range(0x202A, 0x202F), *range(0x2066, 0x206A)]
_SHOWN = dict.fromkeys(_CONTROLS, "\ufffd")

UNWRITTEN = 3
"""Exit code where standard output could not be written: its reader left, or the disk is full."""


class OutputLost(Exception):
    """Standard output cannot be written; the message says why, empty where its reader left."""


def say(text: object, *, error: bool = False) -> None:
    """Print text; control characters, as a title may have, never reach the terminal.

    Raises OutputLost.
    """
    _print(str(text).translate(_SHOWN), error)


def say_json(data: Any) -> None:
    """Print plain data as JSON in ASCII, which survives every encoding. Raises OutputLost."""
    _print(json.dumps(data, indent=2), False)


def _print(text: str, error: bool) -> None:
    stream = sys.stderr if error else sys.stdout
    try:
        stream.write(f"{text}\n")
        stream.flush()
    except OSError as problem:  # not left to the library, whose exit code for it means something else here
        if error:
            return
        raise OutputLost("" if isinstance(problem, BrokenPipeError) else problem.strerror) from None


def tolerant_streams() -> None:
    """Let standard output and error replace what their encoding cannot show."""
    for stream in (sys.stdout, sys.stderr):
        with suppress(AttributeError, ValueError):  # a stream of a test or of another program
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]


def abandon_output() -> None:
    """Drop what is still to be written to standard output, so that the interpreter ends quietly."""
    with suppress(OSError, ValueError):
        void = os.open(os.devnull, os.O_WRONLY)
        os.dup2(void, sys.stdout.fileno())
        os.close(void)
