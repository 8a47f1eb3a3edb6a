"""What a Monte Carlo study is asked to do; together with the model it fixes every bit of the result."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from gatesim.chain.reference import AS_USUAL, Calibration
from gatesim.ground.data import Keys
from gatesim.ground.draw import Streams
from gatesim.ground.level import Level
from gatesim.ground.nested import Layout, Nested, References
from gatesim.studies.draws import Quasi, Renamed
from gatesim.studies.until import Until

# One block is one sequence of JCGM 101, 7.9.4 b): max(100/(1 - p), 10 000) trials.
BLOCK = 10_000
REPLICATES = 16  # quasi-random: enough to estimate an error from their scatter
# Reference passages cost as much as trials: so many of them a trial, and the least number of rigs
CALIBRATED = 0.06
LEAST_CALIBRATED = 20
LIKELY = 500_000  # until averages have settled, as a rule
MOST_TRIALS = 100_000_000


@dataclass(frozen=True)
class Plan:
    """Number of trials (with ``until``: the most that are tried), seed, coverage probability, sampling.

    ``calibration``: how some rigs of every block are calibrated, by passages on top of its trials.
    """

    trials: int = 100_000
    seed: int = 1
    coverage: float = 0.95
    until: Until | None = None
    quasi: bool = False
    calibration: Calibration = AS_USUAL

    KEYS: ClassVar[Keys] = {
        "seed": "seed",
        "coverage": "coverage",
        "until": "until",
        "sampling": "sampling",
        "calibration": "calibration",
        "trials": None,
        "quasi": None,
    }

    @property
    def sampling(self) -> str:
        """How the draws are made, in words."""
        return "scrambled Sobol" if self.quasi else "pseudo-random"

    @property
    def block(self) -> int:
        """Trials in a block; a power of two for Sobol points."""
        if not self.quasi:
            return BLOCK
        wanted = BLOCK if self.until else max(self.trials // REPLICATES, 2**6)
        return 1 << min(max(round(math.log2(wanted)), 6), 16)

    @property
    def expected(self) -> int:
        """Trials that are likely to be run."""
        return min(self.trials, LIKELY) if self.until else self.trials

    @property
    def blocks(self) -> int:
        """Number of blocks; Sobol points come in whole replicates only."""
        if self.quasi:
            return max(round(self.trials / self.block), 2)
        return -(-self.trials // self.block)

    def size(self, index: int) -> int:
        """Trials in block ``index``; the last may be short."""
        return self.block if self.quasi else min(self.block, self.trials - index * self.block)

    def draw(
        self,
        index: int,
        dimensions: Mapping[str, tuple[int, int]],
        layout: Layout,
        levels: Mapping[str, Level],
        *,
        calibrated: bool,
    ) -> Nested:
        """The draws of block ``index``, ``calibrated``: with reference passages of some of its rigs."""
        size = self.size(index)
        rigs = layout.rigs(size)
        quasi = self.quasi
        inner = Quasi(self.seed, index, rigs, dimensions) if quasi else Streams(self.seed, index, rigs)
        references = self._references(index, size, rigs) if calibrated else None
        return Nested(inner, layout, levels, size, references)

    def _references(self, index: int, size: int, rigs: int) -> References:
        layout = self.calibration.layout
        count = min(max(round(CALIBRATED * size / layout.each), LEAST_CALIBRATED), rigs)
        return References(count, layout, Renamed(Streams(self.seed, index, count), "reference: "))
