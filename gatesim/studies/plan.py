"""What a Monte Carlo study is asked to do; together with the model it fixes every bit of the result."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from gatesim.ground.draw import Draw, Streams
from gatesim.studies.draws import Quasi
from gatesim.studies.until import Until

# One block is one sequence of JCGM 101, 7.9.4 b): max(100/(1 - p), 10 000) trials.
BLOCK = 10_000
REPLICATES = 16  # quasi-random: enough to estimate an error from their scatter
MOST_TRIALS = 100_000_000


@dataclass(frozen=True)
class Plan:
    """Number of trials (with ``until``: the most that are tried), seed, coverage probability, sampling."""

    trials: int = 100_000
    seed: int = 1
    coverage: float = 0.95
    until: Until | None = None
    quasi: bool = False

    @property
    def block(self) -> int:
        """Trials in a block; a power of two for Sobol points."""
        if not self.quasi:
            return BLOCK
        wanted = BLOCK if self.until else max(self.trials // REPLICATES, 2**6)
        return 1 << min(max(round(math.log2(wanted)), 6), 16)

    @property
    def blocks(self) -> int:
        """Number of blocks; Sobol points come in whole replicates only."""
        if self.quasi:
            return max(round(self.trials / self.block), 2)
        return -(-self.trials // self.block)

    def size(self, index: int) -> int:
        """Trials in block ``index``; the last may be short."""
        return self.block if self.quasi else min(self.block, self.trials - index * self.block)

    def draw(self, index: int, dimensions: Mapping[str, tuple[int, int]]) -> Draw:
        """The draws of block ``index``."""
        if self.quasi:
            return Quasi(self.seed, index, self.block, dimensions)
        return Streams(self.seed, index, self.size(index))
