"""The command line: finds the command, and turns bad input into one sentence and exit code 2."""

import gc
import importlib
import os
import signal
import sys
from typing import NoReturn

import click

from gatesim.commands.output import UNWRITTEN, OutputLost, abandon_output, say, tolerant_streams
from gatesim.ground.errors import InputError

COMMANDS = {
    "new": "A commented starter scenario to change into one's own.",
    "predict": "What the counter shows and what length is read.",
    "compare": "Several set-ups in one picture and one table.",
    "trace": "Timing diagram of one passage.",
    "explain": "Why the reading is off, and what would change it.",
    "study": "Monte Carlo study: bias, uncertainty, outcomes.",
    "sweep": "How the reading depends on one or two quantities.",
    "budget": "Uncertainty budget and its validation.",
    "choose": "Search for the cheapest rig that meets a requirement.",
    "feed": "How fast parts may follow one another.",
    "bench": "Turn a rig's knobs in the browser and see the reading move.",
    "report": "One self-contained page on the rig.",
    "edges": "Passages in edge times from a logic analyser or a scope.",
    "fit": "Find a rig's unknown quantities from logged counts.",
    "qualify": "Capability of the gauge from a log.",
    "handover": "What the controller's programmer needs.",
    "verify": "Evidence that this installation computes right.",
    "keys": "What a scenario may state, table by table.",
    "formulas": "The length formulas: equation, needs, error.",
    "schema": "JSON Schema of the scenario format.",
}


class LazyGroup(click.Group):
    """Imports a command's module only when it is called: start-up stays short."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of all commands, in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """Import the module of that name and return its ``command``."""
        if name not in COMMANDS:
            return None
        gc.disable()  # imports make many objects and little garbage: a tenth of the start-up
        command: click.Command = importlib.import_module(f"gatesim.commands.{name}").command
        gc.freeze()  # nor is any of it garbage before the end: to look through it there takes another tenth
        gc.enable()
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.command(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="gatesim")
def cli() -> None:
    """Simulate the length measurement of moving parts with light gates and a counter."""


def main() -> None:
    """Entry point of the ``gatesim`` command.

    Exit codes: 0 done; 1 done, and the answer is no (as a command's help says); 2 bad input or a
    product that cannot be written; 3 standard output cannot be written; 130 and 143 stopped.
    """
    tolerant_streams()
    _one_thread()
    signal.signal(signal.SIGTERM, _terminated)
    try:
        code = _run()
    except OutputLost as problem:
        abandon_output()
        if str(problem):
            say(f"gatesim: standard output cannot be written ({problem})", error=True)
        code = UNWRITTEN
    gc.freeze()
    sys.exit(code)


def _one_thread() -> None:
    """Let linear algebra do with one thread, unless the environment says how many; before numpy is imported.

    Matrices here are small: more threads take up to five times the processor time and gain nothing, studies
    have processes of their own, and the last bits of a product depend on how many share it.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def _run() -> int:
    try:
        code = cli.main(standalone_mode=False)
    except InputError as problem:
        say(f"gatesim: {problem}", error=True)
        return 2
    except ArithmeticError as problem:  # forces beyond reason, such as a brake of a meganewton
        say(
            f"gatesim: the motion cannot be computed ({problem}), expected forces a part can meet", error=True
        )
        return 2
    except click.ClickException as problem:
        problem.show()
        return 2
    except (click.Abort, KeyboardInterrupt):
        say("gatesim: stopped", error=True)
        return 130
    return code if isinstance(code, int) else 0


def _terminated(number: int, frame: object) -> NoReturn:
    """Leave by the way of an exception, so that workers and half-written files go as well."""
    raise SystemExit(128 + number)
