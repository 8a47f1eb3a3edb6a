"""Drag at speed, by code that is not gatesim's: field of magpylib, Fourier transforms on grids."""

import magpylib
import numpy as np
from scipy.special import i1e, k1e

MU_0 = 4e-7 * np.pi


def _under(size, gap, x, y, remanence):
    """B_z (x, y) at the surface, a distance ``gap`` under a block."""
    block = magpylib.magnet.Cuboid(polarization=(0, 0, remanence), dimension=size)
    grid = np.stack(np.meshgrid(x, y, [-size[2] / 2 - gap], indexing="ij"), axis=-1)[:, :, 0]
    return block.getB(grid)[..., 2]


def plate_drag(size, gap, thickness, sigma, speed, remanence=1.2):
    """F/v (m,) of an infinite plate: fast Fourier transform of B_z over its surface, reflected by the plate.

    (gamma^2 - k^2) sinh(gamma d)/((gamma^2 + k^2) sinh(gamma d) + 2 k gamma cosh(gamma d)) of a wave comes
    back (derived, as in texts on eddy-current testing).
    """
    n, step = 512, 0.001
    axis = (np.arange(n) - n / 2) * step
    spectrum = np.abs(np.fft.fft2(_under(size, gap, axis, axis, remanence)) * step**2) ** 2
    k = 2 * np.pi * np.fft.fftfreq(n, step)
    kx, ky = np.meshgrid(k[1 : n // 2], k, indexing="ij")
    spectrum = spectrum[1 : n // 2]
    k = np.hypot(kx, ky)
    drag = []
    for v in speed:
        gamma = np.sqrt(k**2 + 1j * MU_0 * sigma * kx * v)
        back = gamma**2 - k**2
        back /= gamma**2 + k**2 + 2 * k * gamma / np.tanh(gamma * thickness)
        total = np.sum(spectrum * kx / k * back.imag) * (2 * np.pi / (n * step)) ** 2
        drag.append(2 * 2 / (MU_0 * (2 * np.pi) ** 2) * total / v)
    return np.array(drag)


def strip_drag(size, gap, width, thickness, sigma, speed, remanence=1.2):
    """F/v (m,) of a thin strip with its own field: stream function in cosines over the width.

    Sheet currents (dT/dy, -ikT); R from their dissipation, L from B_z = mu_0/2 kappa T of each wave.
    """
    n, step = 400, 0.001
    x = (np.arange(n) - n / 2) * step
    y, weight = np.polynomial.legendre.leggauss(60)
    y, weight = y * width / 2, weight * width / 2
    field = _under(size, gap + thickness / 2, x, y, remanence)
    order = np.arange(24)
    a = (2 * order + 1) * np.pi / width
    shape = np.cos(np.multiply.outer(a, y))
    ky, dky = np.linspace(-40 / size[2] * 20, 40 / size[2] * 20, 16001, retstep=True)
    # transform of cos(a y) over the strip
    turn = np.sinc((ky - a[:, None]) * width / (2 * np.pi)) + np.sinc((ky + a[:, None]) * width / (2 * np.pi))
    turn *= width / 2
    wave, dk = np.linspace(1.0, 1500.0, 240, retstep=True)
    drag = np.zeros(len(speed))
    for k in wave:
        source = (np.exp(-1j * k * x) @ field) * step
        drive = k * (shape @ (weight * source))
        resistance = np.diag((a**2 + k**2) * width / 2) / (sigma * thickness)
        own = MU_0 / 2 * (turn * np.sqrt(k**2 + ky**2)) @ turn.T * dky / (2 * np.pi)
        for i, v in enumerate(speed):
            answer = np.linalg.solve(resistance + 1j * k * v * own, drive)
            drag[i] += (answer.conj() @ drive).real * dk / np.pi
    return drag


def tube_wall_drag(radius, height, inner, outer, sigma, speed, remanence=1.0):
    """F/v (m,) in a tube: its wall as coaxial shells, each a current ring for every wave along the axis."""
    shells = 40
    edge = np.linspace(inner, outer, shells + 1)
    r, wall = (edge[1:] + edge[:-1]) / 2, (outer - inner) / shells
    magnet = magpylib.magnet.Cylinder(polarization=(0, 0, remanence), dimension=(2 * radius, height))
    n, step = 4096, 0.0001
    z = (np.arange(n) - n / 2) * step
    grid = np.stack(np.broadcast_arrays(r[:, None], 0.0, z), axis=-1)
    field = np.fft.rfft(magnet.getB(grid)[..., 0], axis=1) * step
    wave = 2 * np.pi * np.fft.rfftfreq(n, step)
    drag = np.zeros(len(speed))
    for j in range(1, 900):
        k = wave[j]
        small, large = np.minimum.outer(r, r), np.maximum.outer(r, r)
        own = MU_0 * r * i1e(k * small) * k1e(k * large) * np.exp(k * (small - large)) * wall
        for i, v in enumerate(speed):
            current = np.linalg.solve(np.eye(shells) / sigma + 1j * k * v * own, field[:, j])
            power = np.sum(2 * np.pi * r * wall * (current.conj() * field[:, j]).real)
            drag[i] += power * wave[1] / np.pi
    return drag
