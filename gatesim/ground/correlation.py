"""Quantities that are known together: drawn with a correlation, each with its own distribution.

Standard normal deviates with the correlation matrix stated are made as JCGM 101:2008, 6.4.8 has
it, and turned into each quantity's own distribution (a normal copula, as JCGM 102:2011 allows
for other marginals): with normal distributions that is the joint normal one, with others the
coefficient is that of the deviates, a little more than that of the values.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.draw import Draw, Kind

LEAST = 1e-12
"""Eigenvalue of a correlation matrix below which it counts as not positive."""


@dataclass(frozen=True)
class Correlation:
    """Names of the draws (k,), and their correlation matrix (k, k) as rows."""

    names: tuple[str, ...]
    matrix: tuple[tuple[float, ...], ...]

    @cached_property
    def factor(self) -> Array:
        """F with F F^T the matrix: Cholesky's, or where rounding leaves none its eigenvectors'."""
        matrix = np.array(self.matrix)
        try:
            return np.asarray(np.linalg.cholesky(matrix))
        except np.linalg.LinAlgError:
            values, vectors = np.linalg.eigh(matrix)
            factor = vectors * np.sqrt(np.maximum(values, 0.0))
            return np.asarray(factor / np.sqrt((factor**2).sum(axis=1, keepdims=True)))

    def coefficient(self, one: str, other: str) -> float:
        """Of two of the names."""
        return self.matrix[self.names.index(one)][self.names.index(other)]

    def among(self, names: Sequence[str]) -> "Correlation":
        """Of some of the names, in the order of this one."""
        rows = [i for i, name in enumerate(self.names) if name in names]
        matrix = tuple(tuple(self.matrix[i][j] for j in rows) for i in rows)
        return Correlation(tuple(self.names[i] for i in rows), matrix)

    @property
    def contradiction(self) -> tuple[str, str] | None:
        """The pair that most keeps the matrix from being positive definite; None where it is."""
        matrix = np.array(self.matrix)
        values, vectors = np.linalg.eigh(matrix)
        if values[0] > LEAST:
            return None
        # v^T R v is the lowest eigenvalue: the pair whose term in it is the most negative
        terms = np.triu(np.outer(vectors[:, 0], vectors[:, 0]) * matrix, 1)
        one, other = np.unravel_index(np.argmin(terms), terms.shape)
        return self.names[int(one)], self.names[int(other)]


@dataclass(frozen=True)
class Together(Draw):
    """The draws of ``inner``, those of correlated names by a normal copula; no name in two of them."""

    inner: Draw
    correlations: tuple[Correlation, ...]

    @property
    def trials(self) -> int:
        """Number of trials."""
        return self.inner.trials

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        found = self._of(name)
        if found is None or columns is not None:
            return self.inner.drawn(kind, name, columns)
        weights = found.factor[found.names.index(name)]
        parts = [w * self.inner.normal(n) for n, w in zip(found.names, weights, strict=True) if w != 0.0]
        normal = np.asarray(sum(parts))
        if kind == "normal":
            return normal
        from scipy.special import ndtr  # deferred: costs start-up time

        return np.asarray(ndtr(normal))

    def _of(self, name: str) -> Correlation | None:
        return next((c for c in self.correlations if name in c.names), None)


def together(draw: Draw, correlations: tuple[Correlation, ...]) -> Draw:
    """The draw itself where nothing is correlated."""
    return Together(draw, correlations) if correlations else draw
