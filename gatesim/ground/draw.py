"""Where the random numbers of a trial come from.

Every random number has a *name* (the scenario path of a quantity, or the name of
a noise such as ``sensor.edge_jitter@1``). Each name has a stream of its own, keyed by
seed, block and name, so that adding a quantity leaves every other draw as it was,
and two rigs that share a name share its draws (common random numbers).
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Flags

Kind = Literal["uniform", "normal"]
"""Uniform on (0, 1), or standard normal."""


class Draw(ABC):
    """A source of standard draws for a fixed number of trials."""

    if TYPE_CHECKING:  # a field of some, made of others by the rest

        @property
        def trials(self) -> int:
            """Number of trials."""

    @abstractmethod
    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """Draws of one kind, shape (trials,) or (trials, columns)."""

    def uniform(self, name: str, columns: int | None = None) -> Array:
        """Uniform on (0, 1), shape (trials,) or (trials, columns)."""
        return self.drawn("uniform", name, columns)

    def normal(self, name: str, columns: int | None = None) -> Array:
        """Standard normal, shape (trials,) or (trials, columns)."""
        return self.drawn("normal", name, columns)


def _shape(trials: int, columns: int | None) -> tuple[int, ...]:
    return (trials,) if columns is None else (trials, columns)


@dataclass(frozen=True)
class Nominal(Draw):
    """No chance at all: every draw is the median of its distribution."""

    trials: int = 1

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `Draw.drawn`."""
        return np.full(_shape(self.trials, columns), 0.5 if kind == "uniform" else 0.0)


def _words_of(number: int) -> list[int]:
    """A number of any size in words of 32 bits, the lowest first."""
    words = [number & 0xFFFFFFFF]
    while number := number >> 32:
        words.append(number & 0xFFFFFFFF)
    return words


@lru_cache(maxsize=1024)
def _name_words(name: str) -> tuple[int, ...]:
    from hashlib import blake2b  # deferred: a prediction does not need it

    return tuple(np.frombuffer(blake2b(name.encode(), digest_size=8).digest(), np.uint32).tolist())


@dataclass(frozen=True)
class Streams(Draw):
    """Pseudo-random draws for one block of trials.

    The bits depend on ``seed``, ``block`` and the name alone, never on which
    worker runs the block or on what was drawn before.
    """

    seed: int
    block: int
    trials: int

    def _generator(self, name: str) -> "np.random.Generator":  # quoted: numpy.random loads late
        # as SeedSequence puts seed and spawn_key=(block, *words) together, which takes it as long again
        seed = _words_of(self.seed)
        words = [*seed, *[0] * (4 - len(seed)), *_words_of(self.block), *_name_words(name)]
        return np.random.Generator(np.random.SFC64(np.random.SeedSequence(np.array(words, np.uint32))))

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `Draw.drawn`."""
        generator, shape = self._generator(name), _shape(self.trials, columns)
        if kind == "normal":
            return generator.standard_normal(shape)
        # random() is on [0, 1): the half step keeps inverse distribution functions finite
        return generator.random(shape) + 2.0**-54


@dataclass(frozen=True)
class Joined(Draw):
    """Trials of several sources, those of one after those of the other."""

    sources: tuple[Draw, ...]

    @property
    def trials(self) -> int:
        """Number of trials."""
        return sum(source.trials for source in self.sources)

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `Draw.drawn`."""
        return np.concatenate([source.drawn(kind, name, columns) for source in self.sources])


@dataclass(frozen=True)
class Repeated(Draw):
    """The draws of ``inner`` over and over, ``times`` times, each drawn only once (common random numbers)."""

    inner: Draw
    times: int
    known: dict[tuple[str, str, int | None], Array] = field(default_factory=dict)

    @property
    def trials(self) -> int:
        """Number of trials."""
        return self.inner.trials * self.times

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        key = (kind, name, columns)
        if key not in self.known:
            draws = self.inner.drawn(kind, name, columns)
            self.known[key] = np.tile(draws, self.times if columns is None else (self.times, 1))
        return self.known[key]


_STEP, _FIRST, _SECOND = (np.uint64(c) for c in (0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB))


def _mixed(z: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Scrambled in place; a bijection."""
    z ^= z >> np.uint64(30)
    z *= _FIRST
    z ^= z >> np.uint64(27)
    z *= _SECOND
    z ^= z >> np.uint64(31)
    return z


@dataclass(frozen=True)
class Evenly(Draw):
    """Every uniform draw of one column evenly over (0, 1), all together evenly too; the rest at medians.

    For a mean over phases. Multiples of square roots of primes, modulo 1 (H. Weyl, Math. Ann. 77
    (1916) 313): the error of such a mean falls nearly with the number of trials.
    """

    trials: int
    order: dict[str, int] = field(default_factory=dict)

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `Draw.drawn`; names get their root in order of first use."""
        if kind == "normal" or columns is not None:
            return Nominal(self.trials).drawn(kind, name, columns)
        number = self.order.setdefault(name, len(self.order))
        root = _PRIMES[number % len(_PRIMES)] ** 0.5
        return np.asarray(np.mod((np.arange(self.trials) + 0.5) * root, 1.0))


_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37)


def further(seed: Array, index: NDArray[np.int64]) -> Array:
    """Any number of further uniform draws of a trial on (0, 1), from one of its uniform draws.

    For noise of which nobody knows beforehand how much a trial needs, such as one draw a
    scan: ``seed`` and ``index`` broadcast, and the bits depend on nothing else. The
    generator is SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, OOPSLA 2014), its state
    keyed by the seed. A seed at its median, 1/2, stands for no chance at all: so do its draws.
    """
    return Further.of(seed).at(index)


@dataclass(frozen=True)
class Further:
    """What `further` draws from, worked out once for many draws: ``state`` of the generator.

    ``certain``: whether a trial's draws are medians, None where no trial's are.
    """

    state: NDArray[np.uint64]
    certain: Flags | None

    @classmethod
    def of(cls, seed: Array) -> "Further":
        """The draws of trials with these uniform draws."""
        certain = seed == 0.5
        state = _mixed(np.array(seed, float).view(np.uint64))
        return cls(state, certain if certain.any() else None)

    def from_number(self, index: NDArray[np.int64]) -> "Further":
        """The same draws from these numbers on."""
        return Further(self.state + index.astype(np.uint64) * _STEP, self.certain)

    def at(self, index: NDArray[np.int64] | int) -> Array:
        """Draws by their number, from 0 on."""
        steps = np.atleast_1d(index).astype(np.uint64) + np.uint64(1)
        bits = _mixed(self.state + steps * _STEP)
        bits >>= np.uint64(11)
        drawn: Array = bits.astype(np.float64)
        drawn += 0.5
        drawn *= 2.0**-53
        return drawn if self.certain is None else np.where(self.certain, 0.5, drawn)

    def normal_at(self, index: NDArray[np.int64]) -> Array:
        """Standard normal ones (G. E. P. Box and M. E. Muller, Ann. Math. Stat. 29 (1958) 610), from 0 on."""
        radius = np.sqrt(-2.0 * np.log(self.at(2 * index)))
        # the sine, so that medians give the median
        return radius * np.sin(2.0 * np.pi * (self.at(2 * index + 1) - 0.5))


FARTHEST_NORMAL = 8.7
"""No draw of `further_normal` lies farther from zero: sqrt(2 * 54 ln 2) = 8.65."""


def further_normal(seed: Array, index: NDArray[np.int64]) -> Array:
    """As `further`, standard normal."""
    return Further.of(seed).normal_at(index)
