"""Eddy currents in a long bar of any cross-section: what magnets of each wave number draw from its motion.

The bar moves along x through a field that varies as exp(ikx). In the bar's frame the currents' density J
across the section obeys, for every J' free of divergence in three dimensions,

    R(J', J) + i k v L(J', J) = v S(J'),      R = 1/sigma * integral of J'J, L = their mutual inductance,
    S = integral of J' (e_x x B), J_x = (i/k) div J,

and the power is v^2 S^T (R + i k v L)^-1 S. With the eigenvalues tau of R^-1 L and the weights w of S in
them that is v^2 * sum of w/(1 + (k v tau)^2): every bar's drag is a sum of curves with one peak each. A few
steps of Lanczos find what of that sum matters (Golub and Meurant, Matrices, Moments and Quadrature, 2010).
Units: 1 S/m and 1 T; the weights go with sigma B^2, the times with sigma.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.motion.magnets.inductance import Kernel
from gatesim.motion.magnets.mesh import Mesh

STEPS = 12
"""Lanczos vectors a wave number: the drag curve changes by less than 1e-4 from 9 on."""


@dataclass
class Section:
    """A meshed bar with what does not depend on the wave number."""

    mesh: Mesh

    @cached_property
    def flow(self) -> Array:
        """Net outflow of each cell (N, F) in A/m of the currents on the faces."""
        return self.mesh.divergence * self.mesh.cells.area[:, None]

    @cached_property
    def kernels(self) -> tuple[Kernel, Kernel, Kernel, Kernel]:
        """Of the faces and of the cells, each with themselves and with their images."""
        faces, cells = self.mesh.faces, self.mesh.cells
        images, others = faces.mirrored(), cells.mirrored()
        return Kernel(faces, faces), Kernel(faces, images), Kernel(cells, cells), Kernel(cells, others)

    def drive(self, across: Array, towards: Array) -> Array:
        """e_x x B on the faces, times their area: (..., F) from B_y and B_z (..., F) in T."""
        normal = self.mesh.faces.along
        force: Array = (towards * -normal[:, 0] + across * normal[:, 1]) * self.mesh.faces.area
        return force

    def settled(self, k: float) -> Callable[[Array], Array]:
        """R^-1 as a function of a source (F,) or (F, m): no net flow out of a cell but along the bar."""
        from scipy.linalg import cho_factor, cho_solve

        area, flow = self.mesh.faces.area, self.flow
        matrix = self._laplacian.copy()
        matrix[np.diag_indices_from(matrix)] += k * k * self.mesh.cells.area
        factor = cho_factor(matrix, overwrite_a=True, check_finite=False)

        def currents(source: Array) -> Array:
            each = area if source.ndim == 1 else area[:, None]
            potential = cho_solve(factor, flow @ (source / each), check_finite=False)
            settled: Array = (source - flow.T @ potential) / each
            return settled

        return currents

    @cached_property
    def _laplacian(self) -> Array:
        """Sum over faces of flow flow^T/area (N, N)."""
        laplacian: Array = (self.flow / self.mesh.faces.area) @ self.flow.T
        return laplacian

    def slow(self, source: Array, k: float) -> Array:
        """Power over v^2 (m,) of the whole bar at low speed, for m drives (F, m)."""
        power: Array = 2 * np.sum(source * self.settled(k)(source), axis=0)
        return power

    def slow_by_modes(self, source: Array, k: float) -> Array:
        """The same, from modes of the potential across the section: the cheaper way for many wave numbers."""
        squares, modes = self._modes
        each = source / self.mesh.faces.area[:, None]
        potential = modes @ (self.flow @ each)
        with np.errstate(divide="ignore", invalid="ignore"):  # of a bar that is the same all along
            taken = np.where(squares + k * k > 0, 1 / (squares + k * k), 0.0) @ potential**2
        power: Array = 2 * (np.sum(source * each, axis=0) - taken)
        return power

    @cached_property
    def _modes(self) -> tuple[Array, Array]:
        """Squared wave numbers (N,) across the section, and the modes (N, N), one a row."""
        root = np.sqrt(self.mesh.cells.area)
        squares, modes = np.linalg.eigh(self._laplacian / np.outer(root, root))
        noise = 1e-12 * squares[-1]
        return np.where(squares > noise, squares, 0.0), (modes / root[:, None]).T

    def spectrum(self, source: Array, k: float) -> tuple[Array, Array]:
        """Weights w (m,) and times tau (m,) of the whole bar for a drive (F,) at wave number k."""
        from scipy.linalg import eigh_tridiagonal

        own, currents = self._inductance(k), self.settled(k)
        image, vector = source, currents(source)
        whole = norm = float(vector @ image)
        basis: list[Array] = []
        images: list[Array] = []
        diagonal: list[float] = []
        beside: list[float] = []
        while len(basis) < min(STEPS, source.size):
            basis.append(vector / np.sqrt(norm))
            images.append(image / np.sqrt(norm))
            image = own @ basis[-1]
            vector = currents(image)
            diagonal.append(float(basis[-1] @ image))
            for _ in range(2):
                parts = np.array(basis) @ image
                vector = vector - parts @ np.array(basis)
                image = image - parts @ np.array(images)
            norm = float(vector @ image)
            if norm <= (1e-10 * diagonal[0]) ** 2:
                break
            beside.append(float(np.sqrt(norm)))
        times, vectors = eigh_tridiagonal(np.array(diagonal), np.array(beside[: len(diagonal) - 1]))
        return 2 * whole * vectors[0] ** 2, times

    def _inductance(self, k: float) -> Array:
        """L (F, F): J_y is even about the plane of symmetry, J_z and J_x are odd."""
        faces, flow = self.mesh.faces, self.flow
        direct, mirrored, along, along_mirrored = (kernel.at(k) for kernel in self.kernels)
        normal = faces.along
        total = (normal @ normal.T) * direct + (normal @ (normal * [1.0, -1.0]).T) * mirrored
        total *= np.outer(faces.area, faces.area)
        lengthwise: Array = flow.T @ ((along - along_mirrored) @ flow)
        return total + lengthwise / k**2
