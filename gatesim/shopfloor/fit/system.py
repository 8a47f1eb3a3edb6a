"""Weighted residuals of a log as a function of the parameters, with the lengths solved for inside."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.shopfloor.fit.forward import Forward
from gatesim.shopfloor.fit.leastsquares import RANK_TOLERANCE
from gatesim.shopfloor.fit.rows import Cells, Mask

LENGTH_STEPS = 8
LENGTH_TOLERANCE = 1e-7  # of the last step: what is left is its square


@dataclass(frozen=True)
class System:
    """What is minimised.

    ``target`` (c, 4) mean or median counts of the cells; ``covariance`` (g, 4, 4) of one row
    of each length; ``offset`` (g, 4) mean counts less expected ones; ``start`` (g,) lengths
    in m, ``uncertainty`` (g,) their standard uncertainty: 0 for a reference taken as exact,
    infinite for an unknown length. Residuals are cells, then lengths, then priors.
    """

    forward: Forward
    cells: Cells
    target: Array
    covariance: Array
    offset: Array
    start: Array
    uncertainty: Array

    @cached_property
    def whitening(self) -> Array:
        """(c, 4, 4): multiplied on, the mean of a cell has unit covariance; zero off its mask."""
        return whitening(self.covariance[self.cells.group], self.cells.mask) * np.sqrt(
            self.cells.count[:, None, None]
        )

    @property
    def free(self) -> Mask:
        """Lengths that are estimated, (g,)."""
        return self.uncertainty > 0.0

    def at(self, deviations: Array) -> "FitPoint":
        """Lengths, expected counts and slopes for deviations (k,); kept, as each is asked for by turns."""
        key = deviations.tobytes()
        if key not in self._kept:
            self._kept.clear()
            lengths = self._solve(deviations) if self.free.any() else self.start
            self._kept[key] = FitPoint(lengths, *self._derivatives(deviations, lengths))
        return self._kept[key]

    @cached_property
    def _kept(self) -> dict[bytes, "FitPoint"]:
        return {}

    def lengths(self, deviations: Array) -> Array:
        """Lengths (g,) that suit the deviations best."""
        return self.at(deviations).lengths

    def residual(self, deviations: Array) -> Array:
        """Residuals (n,) for deviations (k,), at the lengths that suit them best.

        NaN throughout where a register that is logged is not recorded, here or a step beside.
        """
        point = self.at(deviations)
        if not np.isfinite(self._white(point)[0]).all():
            size = (
                self.cells.mask.size + int(self._informed.sum()) + int(np.isfinite(self.forward.priors).sum())
            )
            return np.full(size, np.nan)
        return np.concatenate(
            [self._cells(point.counts).ravel(), *self._prior_rows(deviations, point.lengths)]
        )

    def jacobian(self, deviations: Array) -> Array:
        """Total derivative (n, k) of `residual`: the lengths follow the parameters."""
        cells, per_length = self._white(self.at(deviations))
        follow = self._follow(cells, per_length)
        cells = cells + per_length[:, :, None] * follow[self.cells.group][:, None, :]
        informed = self._informed
        k = len(deviations)
        prior = np.isfinite(self.forward.priors)
        return np.concatenate(
            [
                cells.reshape(-1, k),
                follow[informed] / self.uncertainty[informed, None],
                np.diag(1.0 / self.forward.priors)[prior],
            ]
        )

    def _white(self, point: "FitPoint") -> tuple[Array, Array]:
        """Whitened slopes of the cells by the parameters (c, 4, k) and by their length (c, 4)."""
        cells: Array = self.whitening @ np.where(self.cells.mask[:, :, None], point.slopes, 0.0)
        return cells, self._lever(point.by_length)

    def _lever(self, by_length: Array) -> Array:
        """Whitened slopes by the length (c, 4); a register that no row has counts for nothing."""
        known = np.where(self.cells.mask, by_length, 0.0)
        per_length: Array = np.einsum("crs,cs->cr", self.whitening, known)
        return per_length

    def _derivatives(
        self, deviations: Array, lengths: Array, *, of_length_only: bool = False
    ) -> tuple[Array, Array, Array]:
        """See `Forward.derivatives`, for each cell by its length and its mean moment."""
        return self.forward.derivatives(
            deviations, lengths[self.cells.group], moments=self.cells.moment, of_length_only=of_length_only
        )

    def _follow(self, cells: Array, per_length: Array) -> Array:
        """How the best lengths move with the parameters, (g, k)."""
        group = self.cells.group
        gradient = np.zeros((len(self.start), cells.shape[2]))
        np.add.at(gradient, group, np.einsum("cr,crk->ck", per_length, cells))
        information = self._length_information(per_length)
        follow: Array = np.where(
            self.free[:, None],
            -gradient / np.where(information > 0.0, information, 1.0)[:, None],
            0.0,
        )
        return follow

    def _length_information(self, per_length: Array) -> Array:
        information = np.zeros(len(self.start))
        np.add.at(information, self.cells.group, (per_length**2).sum(axis=1))
        stated = np.where(self._informed, self.uncertainty, np.inf) ** -2.0
        return information + stated

    @property
    def _informed(self) -> Mask:
        """Lengths known with an uncertainty."""
        return self.free & np.isfinite(self.uncertainty)

    def _cells(self, expected: Array) -> Array:
        """Whitened residuals (c, 4), expected less logged."""
        offset = self.offset[self.cells.group]
        error = np.where(self.cells.mask, expected + offset - self.target, 0.0)
        white: Array = np.einsum("crs,cs->cr", self.whitening, error)
        return white

    def _prior_rows(self, deviations: Array, lengths: Array) -> tuple[Array, Array]:
        informed, prior = self._informed, np.isfinite(self.forward.priors)
        return (
            ((lengths - self.start) / self.uncertainty)[informed] if informed.any() else np.zeros(0),
            (deviations / self.forward.priors)[prior],
        )

    def _solve(self, deviations: Array) -> Array:
        """Gauss-Newton, each length by itself."""
        lengths = self.start
        for _ in range(LENGTH_STEPS):
            counts, _, by_length = self._derivatives(deviations, lengths, of_length_only=True)
            per_length = self._lever(by_length)
            gradient = np.zeros(len(lengths))
            np.add.at(gradient, self.cells.group, (per_length * self._cells(counts)).sum(axis=1))
            gradient[self._informed] += (
                (lengths - self.start) / np.where(self._informed, self.uncertainty, 1.0) ** 2
            )[self._informed]
            information = self._length_information(per_length)
            step = np.where(
                self.free & (information > 0.0),
                -gradient / np.where(information > 0.0, information, 1.0),
                0.0,
            )
            # a length stays positive, whatever a far-off trial step of the parameters suggests
            lengths = np.maximum(lengths + step, 0.2 * lengths)
            if not np.any(np.abs(step) > LENGTH_TOLERANCE * lengths):
                break
        return lengths

    def left(self, deviations: Array, noise: Array) -> Array:
        """What a fit leaves (b, c, 4) of whitened ``noise`` (b, n) in the rows of `residual`.

        The fit taken as linear about the deviations (k,): what lengths and parameters can
        follow is taken out.
        """
        c = self.cells.mask.size
        cells = noise[:, :c].reshape(-1, *self.cells.mask.shape)
        _, per_length = self._white(self.at(deviations))
        gradient = np.zeros((len(noise), len(self.start)))
        np.add.at(gradient.T, self.cells.group, np.einsum("cr,bcr->cb", per_length, cells))
        informed = self._informed
        stated = noise[:, c : c + int(informed.sum())]
        gradient[:, informed] += stated / np.where(informed, self.uncertainty, 1.0)[informed]
        information = self._length_information(per_length)
        step = np.where(
            self.free & (information > 0.0),
            gradient / np.where(information > 0.0, information, 1.0),
            0.0,
        )
        jacobian = self.jacobian(deviations)
        scale = np.linalg.norm(jacobian, axis=0)
        basis, size, _ = np.linalg.svd(jacobian / np.where(scale > 0.0, scale, 1.0), full_matrices=False)
        basis = basis[:, size > RANK_TOLERANCE * size.max(initial=0.0)]
        followed = ((noise @ basis) @ basis.T)[:, :c].reshape(cells.shape)
        left: Array = cells - per_length * step[:, self.cells.group][:, :, None] - followed
        return left

    def length_std(self, deviations: Array, covariance: Array) -> Array:
        """Standard uncertainties of the lengths (g,), with what they owe to the parameters."""
        if not self.free.any():
            return np.zeros(len(self.start))
        cells, per_length = self._white(self.at(deviations))
        information, follow = (
            self._length_information(per_length),
            self._follow(cells, per_length),
        )
        finite = np.where(np.isfinite(covariance), covariance, 0.0)
        variance = 1.0 / np.where(information > 0.0, information, np.inf) + np.einsum(
            "gk,kl,gl->g", follow, finite, follow
        )
        std: Array = np.where(self.free, np.sqrt(variance), 0.0)
        return std


@dataclass(frozen=True)
class FitPoint:
    """Lengths (g,) m; expected counts (c, 4), slopes by parameter (c, 4, k) and by length (c, 4)."""

    lengths: Array
    counts: Array
    slopes: Array
    by_length: Array


def whitening(covariance: Array, mask: Mask) -> Array:
    """(c, r, r) matrices W with W V W^T = 1 on the mask (c, r) and 0 elsewhere."""
    both = mask[:, :, None] & mask[:, None, :]
    own = np.where(both, covariance, 0.0) + np.eye(mask.shape[1]) * ~mask[:, None, :]
    inverse = np.linalg.inv(np.linalg.cholesky(own))
    return np.where(both, inverse, 0.0)
