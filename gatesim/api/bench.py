"""The live bench: a page on a rig, served to this machine's browser."""

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from gatesim.api.new import KINDS, TITLES, new
from gatesim.ground.errors import InputError
from gatesim.scenario.model import Scenario
from gatesim.scenario.modelpaths import schema_paths
from gatesim.studies.workers import InThisProcess, pool, usable_cores
from gatesim.view.bench.patch import Changes
from gatesim.view.bench.saving import Starter, open_file

MORE = 1  # worker than cores: what is computed for a picture does not hold up a study


def bench(
    file: Path | str | None = None,
    *,
    settings: Sequence[str] = (),
    idle: float | None = None,
    browser: bool = True,
    say: Callable[[str], None] = print,
) -> None:
    """Serve a page on the rig of ``file``, or on a rig to begin with, until Ctrl-C.

    ``settings``: "PATH=VALUE", quantities that are changed to begin with. ``idle``: minutes without
    a page after which it ends. ``browser``: open the page; ``say`` hears its address.
    Raises InputError.
    """
    from gatesim.api import answers
    from gatesim.view.bench.desk import Desk
    from gatesim.view.bench.server import Bench, serve

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

    _warm(0)  # here first: workers that are forked have it then
    with pool(usable_cores() + MORE) as workers:
        list(workers.map(_warm, range(2 * usable_cores())))  # processes begin before threads do
        serve(Bench(Desk(answers, workers), given, starters, changes), ready, idle and 60.0 * idle)


def _warm(number: int) -> int:
    """Run all that a page asks for once, so that what it needs is imported."""
    from gatesim.api import answers
    from gatesim.scenario import parse_text

    rig = parse_text(new(KINDS[0]).text)
    answers.reading(rig)
    answers.passage(rig)
    answers.why(rig)
    answers.distribution(rig, 2, InThisProcess())
    return number


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
