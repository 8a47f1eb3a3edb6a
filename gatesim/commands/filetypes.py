"""Files on the command line: which a command reads and which it makes, checked before it begins."""

import math
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from gatesim.ground.files import Target, target


class Source(click.Path):
    """A file that the command reads."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)


class Product(click.Path):
    """A file or new directory that the command makes; ``kind`` says in messages what it is given as."""

    def __init__(self, kind: str, endings: tuple[str, ...] = (), directory: bool = False) -> None:
        super().__init__(path_type=Path)
        self.kind, self.endings, self.directory = kind, endings, directory


class Number(click.FloatRange):
    """A number in a range; nan and inf are none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """See click. Fails for what is no finite number."""
        if not math.isfinite(click.FLOAT.convert(value, param, ctx)):
            self.fail(f"{value!r} is not a finite number.", param, ctx)
        return super().convert(value, param, ctx)


class Command(click.Command):
    """A command that refuses, before any work, to write over a file that it reads.

    Numbers beyond reason in a file overflow somewhere; what comes of it is a result with its reason, or a
    sentence, and needs no warning of a library beside it.
    """

    def invoke(self, ctx: click.Context) -> Any:
        """Check the products, then do the work. Raises InputError."""
        sources = [path for _, paths in _given(ctx, Source) for path in paths]
        checked: list[Target] = []
        for kind, paths in _given(ctx, Product):
            for path in paths:
                if not kind.directory:  # a directory is made, or refused, as a whole
                    checked.append(target(path, kind.kind, sources, checked, kind.endings))
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", "overflow encountered", RuntimeWarning)
            return super().invoke(ctx)


def _given(ctx: click.Context, kind: type[Any]) -> Iterator[tuple[Any, tuple[Path, ...]]]:
    """What was given for each parameter of a type."""
    for parameter in ctx.command.params:
        given = ctx.params.get(parameter.name or "")
        if isinstance(parameter.type, kind) and given is not None:
            yield parameter.type, given if isinstance(given, tuple) else (given,)
