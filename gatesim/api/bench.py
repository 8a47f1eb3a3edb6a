"""The live bench: a page on a rig, served to this machine's browser."""

import json
from collections.abc import Callable, Sequence
from contextlib import suppress
from multiprocessing import get_start_method
from pathlib import Path
from typing import Any

from gatesim.api.new import KINDS, TITLES, new
from gatesim.ground.draw import Streams
from gatesim.ground.errors import InputError
from gatesim.scenario.model import Scenario
from gatesim.scenario.modelpaths import schema_paths
from gatesim.studies.model import run
from gatesim.studies.rig import RigModel
from gatesim.studies.workers import InThisProcess, pool, usable_cores
from gatesim.view.bench.fields import groups
from gatesim.view.bench.patch import Changes
from gatesim.view.bench.saving import Starter, open_file

MORE = 1  # worker than cores: what is computed for a picture does not hold up a study
SOON, LATER = 2, 10  # niceness of workers: the reading goes before a study, that before what can wait


def bench(
    file: Path | str | None = None,
    *,
    settings: Sequence[str] = (),
    idle: float | None = None,
    browser: bool = True,
    unit: str | None = None,
    say: Callable[[str], None] = print,
) -> None:
    """Serve a page on the rig of ``file``, or on a rig to begin with, until Ctrl-C.

    ``settings``: "PATH=VALUE", quantities that are changed to begin with. ``idle``: minutes without
    a page after which it ends. ``browser``: open the page; ``say`` hears its address. ``unit`` of lengths
    that are shown: "mm", "um" or "in". Raises InputError.
    """
    from gatesim.api.answers import Answers
    from gatesim.view.bench.desk import Desk, Pools
    from gatesim.view.bench.server import Bench, serve
    from gatesim.view.lengthunit import unit_of

    shown = unit_of(unit)
    given = None if file is None else open_file(Path(file))
    if given is not None:
        given.table()  # bad input is said here, not on the page
    changes = _changes(settings)
    starters = {kind: Starter(title, new(kind).text) for kind, title in TITLES.items()}

    def ready(address: str) -> None:
        say(f"{address}\nCtrl-C ends the bench.")
        if browser:
            import webbrowser

            webbrowser.open(address)

    cores = usable_cores()
    sizes = cores + MORE, max(cores, 2)
    text = None if given is None else given.text
    _warm(text)
    inherited = get_start_method() == "fork"  # then workers have it too
    with pool(sizes[0], SOON) as at_once, pool(sizes[1], LATER) as later:
        for workers, size in zip((at_once, later), sizes, strict=True):  # processes begin before threads do
            list(workers.map(_nothing if inherited else _warm, [text] * 2 * size))
        desk = Desk(Answers(shown), Pools(at_once, later))
        serve(Bench(desk, given, starters, changes, shown), ready, idle and 60.0 * idle)


def _nothing(text: str | None) -> None:
    """Work for a process that need only begin."""


def _warm(text: str | None) -> None:
    """Ask what a page asks for of a rig to begin with, and run the rig that is given as TOML.

    What that needs is imported then, and what few of a rig's quantities change, such as its magnets'
    field, is kept by the function that works it out.
    """
    from gatesim.api.answers import Answers
    from gatesim.scenario import parse_text

    answers = Answers()
    rig = parse_text(new(KINDS[0]).text)
    _, passed = answers.reading(rig)
    answers.passage(rig, passed)
    answers.why(rig, passed)
    answers.distribution(rig, passed, 2, InThisProcess())
    groups(rig)
    if text is not None:
        with suppress(InputError, ArithmeticError):  # the page says so
            rig = parse_text(text)
            answers.reading(rig)
            run(RigModel(rig), Streams(1, 0, 2))


def _changes(settings: Sequence[str]) -> Changes:
    """Path -> value. Raises InputError for text without = or a path that no scenario has."""
    found: Changes = {}
    for text in settings:
        path, equals, value = text.partition("=")
        bare = ".".join(step for step in path.split(".") if not step.isdigit())
        if not equals or bare not in schema_paths(Scenario):
            raise InputError(f'--set: given {text!r}, expected PATH=VALUE such as gate.spacing="80 mm"')
        found[path] = _value(value)
    return found


def _value(text: str) -> Any:
    """A number, a table or a list where it reads as one, else the text; nothing: left out."""
    if not text:
        return None
    try:
        value = json.loads(text)
    except ValueError:
        return text
    return value if isinstance(value, int | float | dict | list) and not isinstance(value, bool) else text
