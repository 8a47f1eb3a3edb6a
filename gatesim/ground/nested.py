"""Draws in three levels: rigs hold parts, parts hold passages."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.draw import Draw, Kind
from gatesim.ground.level import Level


@dataclass(frozen=True)
class Layout:
    """Every rig has ``parts`` parts, each of which passes ``passages`` times, in that order."""

    parts: int = 1
    passages: int = 1

    @property
    def each(self) -> int:
        """Trials of one rig."""
        return self.parts * self.passages

    def rigs(self, trials: int) -> int:
        """Rigs that so many trials take; the last one may be cut short."""
        return -(-trials // self.each)


@dataclass(frozen=True)
class References:
    """Further passages behind the trials of a block, of the first ``rigs`` rigs.

    Every one of these rigs passes ``layout.parts`` reference parts ``layout.passages`` times.
    ``source``: draws of those parts and passages, one trial a rig.
    """

    rigs: int
    layout: Layout
    source: Draw

    @property
    def trials(self) -> int:
        """Number of passages."""
        return self.rigs * self.layout.each


@dataclass(frozen=True)
class Nested(Draw):
    """The draws of a block: one value a rig, a part or a passage, repeated for every trial it holds in.

    ``inner`` draws for the rigs, one trial each; ``levels``: how often a name is drawn, new with
    every passage where nothing is said. ``size``: trials of the block, (rigs x parts x passages)
    in this order, the last rig cut short if need be; those of ``references`` come after them.
    The bits of a name depend on seed, block, name and level alone.
    """

    inner: Draw
    layout: Layout
    levels: Mapping[str, Level]
    size: int
    references: References | None = None

    @property
    def trials(self) -> int:
        """Number of trials."""
        return self.size + (0 if self.references is None else self.references.trials)

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        level = self.levels.get(name, "passage")
        width = columns or 1
        own = _repeated(self.inner, kind, name, width, self.layout, level)[: self.size]
        if self.references is not None:
            own = np.concatenate([own, self._referenced(own, kind, name, width, level)])
        return own[:, 0] if columns is None else own

    def _referenced(self, own: Array, kind: Kind, name: str, width: int, level: Level) -> Array:
        """Draws of the reference passages; what is the rig's own it has here too."""
        assert self.references is not None
        layout, rigs = self.references.layout, self.references.rigs
        if level == "rig":
            return np.repeat(own[:: self.layout.each][:rigs], layout.each, axis=0)
        return _repeated(self.references.source, kind, name, width, layout, level)


def _repeated(inner: Draw, kind: Kind, name: str, width: int, layout: Layout, level: Level) -> Array:
    """Draws (rigs * layout.each, width), those of a rig or of a part repeated."""
    times = {"rig": 1, "part": layout.parts, "passage": layout.each}[level]
    drawn = inner.drawn(kind, name, times * width)
    rows = drawn.reshape(inner.trials * times, width)
    return rows if times == layout.each else np.repeat(rows, layout.each // times, axis=0)


@dataclass(frozen=True)
class SameRigs(Draw):
    """Other parts and other passages on the same rigs: draws of ``inner`` for a rig, of ``others`` else."""

    inner: Draw
    others: Draw
    levels: Mapping[str, Level]

    @property
    def trials(self) -> int:
        """Number of rigs."""
        return self.inner.trials

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        return self._of(name).drawn(kind, name, columns)

    def _of(self, name: str) -> Draw:
        return self.inner if self.levels.get(name, "passage") == "rig" else self.others
