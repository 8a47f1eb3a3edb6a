"""What all results of the front door have in common."""

import sys
from abc import ABC, abstractmethod
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields
from threading import Event, Thread
from typing import TYPE_CHECKING, Any, ClassVar, Self

from gatesim.ground.data import data_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes


class Result(ABC):
    """A result that can say, list and (see `Pictured`) draw itself.

    Classes of results add this to the frozen dataclass that the computation gave. ``UNITS``:
    SI unit of every attribute that is a physical value.
    """

    UNITS: ClassVar[dict[str, str]] = {}

    @abstractmethod
    def __str__(self) -> str:
        """The text that the command prints."""

    def __repr__(self) -> str:
        return str(self)

    def data(self) -> Any:
        """Plain mappings, lists and numbers, unrounded, SI: what the command prints with --json."""
        return data_of(self)

    def quantity(self, name: str) -> Any:
        """The attribute of that name as a pint quantity. Raises KeyError for one without a unit."""
        from gatesim.ground.quantity import registry

        if name not in self.UNITS:
            raise KeyError(f"{name!r} is no physical value, expected one of {', '.join(self.UNITS)}")
        value = getattr(self, name)
        return registry().Quantity(float("nan") if value is None else value, self.UNITS[name])

    def _repr_html_(self) -> str:
        """The text as notebooks show it."""
        from html import escape

        return f"<pre>{escape(str(self))}</pre>"

    @classmethod
    def of(cls, found: Any, **further: Any) -> Self:
        """The result of a computation with all that is shown of it."""
        return cls(**{field.name: getattr(found, field.name) for field in fields(found)}, **further)


class WithLengths(Result):
    """A result of lengths, which are shown in mm, um or in; its picture, if it has one, likewise."""

    @abstractmethod
    def text(self, unit: str | None = None) -> str:
        """The text that the command prints, with lengths in that unit, mm without one. Raises InputError."""

    def __str__(self) -> str:
        return self.text()


class Pictured(Result):
    """A result that has a picture, too."""

    @abstractmethod
    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw it, into ``ax`` or a figure of its own; returns the Axes."""

    def _repr_html_(self) -> str:
        from base64 import b64encode
        from io import BytesIO

        figure, file = self.plot().get_figure(root=True), BytesIO()
        assert figure is not None
        figure.savefig(file, format="png", dpi=110)
        picture = b64encode(file.getvalue()).decode("ascii")
        return f'{super()._repr_html_()}<img alt="" src="data:image/png;base64,{picture}">'


class PicturedLengths(WithLengths, Pictured):
    """A result of lengths that has a picture in the same units."""

    @abstractmethod
    def plot(self, ax: "Axes | None" = None, unit: str | None = None) -> "Axes":
        """Draw it, into ``ax`` or a figure of its own, with lengths in that unit; returns the Axes."""


def watched() -> bool:
    """Whether someone watches a terminal, so that long work shows a progress bar."""
    return sys.stderr.isatty()


PATIENCE = 2.0
"""Seconds that work may take before a terminal shows that it goes on."""


@contextmanager
def at_work(doing: str) -> Iterator[None]:
    """Show on a terminal what is being done and for how long, once that is longer than `PATIENCE`.

    For work whose end nobody can tell beforehand; a study has a bar of its own.
    """
    if not watched():
        yield
        return
    done = Event()
    watch = Thread(target=_tell, args=(doing, done), daemon=True)
    watch.start()
    try:
        yield
    finally:
        done.set()
        watch.join()


def _tell(doing: str, done: Event) -> None:
    if done.wait(PATIENCE):
        return
    from tqdm import tqdm  # deferred: costs start-up time

    with tqdm(desc=doing, bar_format="{desc}: {elapsed}", leave=False) as bar:
        bar.start_t -= PATIENCE
        while not done.wait(0.5):
            bar.refresh()
