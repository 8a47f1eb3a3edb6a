"""Draws made of other draws: recorded, swapped, renamed, quasi-random."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.draw import Draw, Kind, Nominal, Streams
from gatesim.ground.nested import Layout, Nested
from gatesim.studies.model import Model, levels_of, run

# A name that draws very many columns (a long train of chatter, say) would use up the
# good leading dimensions of a Sobol sequence; such names stay pseudo-random.
MOST_COLUMNS = 16
MOST_DIMENSIONS = 256
MOST_KEPT = 2**16  # coordinates of a block: half a megabyte


@dataclass(frozen=True)
class Recorder(Draw):
    """Passes draws on and notes what was asked for: name -> (kind, columns), in order of first use."""

    inner: Draw
    used: dict[str, tuple[str, int | None]] = field(default_factory=dict)

    @property
    def trials(self) -> int:
        """Number of trials."""
        return self.inner.trials

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        self.used.setdefault(name, (kind, columns))
        return self.inner.drawn(kind, name, columns)


@dataclass(frozen=True)
class Renamed(Draw):
    """The same source under other names: an independent second set of draws."""

    inner: Draw
    prefix: str

    @property
    def trials(self) -> int:
        """Number of trials."""
        return self.inner.trials

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        return self.inner.drawn(kind, self.prefix + name, columns)


@dataclass(frozen=True)
class Swapped(Draw):
    """Draws of ``first``, except one name, which comes from ``second``."""

    first: Draw
    second: Draw
    name: str

    @property
    def trials(self) -> int:
        """Number of trials."""
        return self.first.trials

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        return (self.second if name == self.name else self.first).drawn(kind, name, columns)


def _scrambled(seed: int, block: int, dimensions: int, trials: int) -> Array:
    """Points (trials, dimensions) of one replicate; not to be written to."""
    from scipy.stats import qmc  # deferred: costs start-up time

    seeds = np.random.SeedSequence(seed, spawn_key=(block,))
    rng = np.random.Generator(np.random.SFC64(seeds))
    points = qmc.Sobol(dimensions, scramble=True, bits=52, rng=rng).random(trials)
    found = np.asarray(points) + 2.0**-53  # half a step: never 0, so inverse functions stay finite
    found.flags.writeable = False
    return found


# small studies follow one another while knobs are turned: scrambling is a third of one
_kept = lru_cache(maxsize=64)(_scrambled)


@dataclass(frozen=True)
class Quasi(Draw):
    """Scrambled Sobol points: one independently scrambled replicate per block.

    ``dimensions`` maps a name to the first of its dimensions; names it does not hold
    are drawn pseudo-randomly. ``trials`` should be a power of two.
    """

    seed: int
    block: int
    trials: int
    dimensions: Mapping[str, tuple[int, int]]

    @cached_property
    def _points(self) -> Array:
        total = sum(columns for _, columns in self.dimensions.values())
        find = _kept if total * self.trials <= MOST_KEPT else _scrambled
        return find(self.seed, self.block, total, self.trials)

    @cached_property
    def _others(self) -> Streams:
        return Streams(self.seed, self.block, self.trials)

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        first, known = self.dimensions.get(name, (0, -1))
        if known != (columns or 1):
            return self._others.drawn(kind, name, columns)
        points = self._points[:, first] if columns is None else self._points[:, first : first + columns]
        if kind == "uniform":
            return points
        from scipy.special import ndtri

        return np.asarray(ndtri(points))


Drawn = Mapping[str, tuple[str, int | None]]
"""All standard draws a trial uses: name -> (kind, columns), in order of first use."""


def names_drawn(model: Model, layout: Layout | None = None, *, quantised: bool = True) -> Drawn:
    """What a trial of the model draws.

    With a ``layout`` all that a rig uses: a column for each part or passage. Found by a run of
    medians, so noises that only occur by chance may be missing.
    """
    recorder = Recorder(Nominal(1))
    nested = None if layout is None else Nested(recorder, layout, levels_of(model), layout.each)
    run(model, recorder if nested is None else nested, quantised=quantised)
    return recorder.used


def assign_dimensions(drawn: Drawn, sets: int = 1, each: int = 1) -> dict[str, tuple[int, int]]:
    """Dimensions of a Sobol sequence for each name: name -> (first, columns).

    The sequence is best in its leading dimensions, so names come in order of first use:
    the inputs first. ``sets=2`` adds a second, independent set under the prefix "b:".
    ``each``: trials that share a point.
    """
    dimensions: dict[str, tuple[int, int]] = {}
    first = 0
    for prefix in ("", "b:")[:sets]:
        for name, (_, columns) in drawn.items():
            width = columns or 1
            if width <= MOST_COLUMNS * each and first + width <= MOST_DIMENSIONS:
                dimensions[prefix + name] = (first, width)
                first += width
    return dimensions
