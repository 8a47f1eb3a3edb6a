"""Which unknowns a log can tell apart, and which further measurement would."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from gatesim.counter.counter import REGISTERS
from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.ground.errors import InputError
from gatesim.scenario.reader import changed
from gatesim.shopfloor.fit.forward import Forward
from gatesim.shopfloor.fit.leastsquares import RANK_TOLERANCE
from gatesim.shopfloor.fit.noise import simulated
from gatesim.shopfloor.fit.parameter import parameters
from gatesim.shopfloor.fit.rows import Mask
from gatesim.shopfloor.fit.system import System, whitening

CLOSE = 0.95  # correlations from here on are named
POOR = 3.0
LEAST = 1e-100  # stands for a singular value of 0, whose square still divides
DRAWS = 500


@dataclass(frozen=True)
class Separability:
    """Singular values of the unknowns' Jacobian, after all that is not exactly known is taken out.

    Columns are scaled by the size of each unknown, so that a singular value is one over the
    relative standard uncertainty of a combination of unknowns: ``directions`` (u, u), a row
    each, greatest value first. A value below 1e-6 of what the log says at all is none:
    ``rank`` counts the others. ``correlation`` (u, u).
    """

    names: tuple[str, ...]
    values: Array
    directions: Array
    rank: int
    correlation: Array

    KEYS: ClassVar[Keys] = {
        "values": "singular_values",
        "directions": "directions",
        "rank": "rank",
        "correlation": "correlation",
        "names": None,
    }

    @property
    def complete(self) -> bool:
        """Whether every unknown is determined."""
        return self.rank == len(self.names)

    @property
    def poor(self) -> bool:
        """Whether a combination is known no better than to a third of its size."""
        return bool(self.values[-1] < POOR)

    @property
    def weakest(self) -> dict[str, float]:
        """Shares of the unknowns in the worst known combination, the small ones left out."""
        shares = zip(self.names, self.directions[-1], strict=True)
        return {name: float(share) for name, share in shares if abs(share) > 0.1}

    @property
    def close(self) -> tuple[tuple[str, str, float], ...]:
        """Pairs whose estimates are hard to tell apart, and their correlation."""
        size = len(self.names)
        return tuple(
            (self.names[i], self.names[j], float(self.correlation[i, j]))
            for i in range(size)
            for j in range(i)
            if abs(self.correlation[i, j]) >= CLOSE
        )


@dataclass(frozen=True)
class Extra:
    """A further measurement: the smallest singular value and standard uncertainties (SI) with it.

    ``gain`` is the factor on the smallest singular value.
    """

    what: str
    smallest: float
    gain: float
    std: dict[str, float]


def separability(jacobian: Array, forward: Forward) -> Separability:
    """From the whitened total Jacobian (n, k) with its prior rows."""
    u = forward.unknowns
    names = tuple(p.name for p in forward.parameters[:u])
    sizes = np.array([p.size for p in forward.parameters[:u]])
    own = jacobian[:, :u] * sizes
    if jacobian.shape[1] > u:
        basis, _ = np.linalg.qr(jacobian[:, u:] * forward.priors[u:])
        own = own - basis @ (basis.T @ own)
    _, values, directions = np.linalg.svd(own, full_matrices=False)
    whole = np.linalg.norm(jacobian[:, :u] * sizes, axis=0).max()
    good = values > RANK_TOLERANCE * whole
    safe = np.maximum(values, LEAST)
    spread = (directions.T / safe**2) @ directions
    std = np.sqrt(np.diag(spread))
    return Separability(names, values, directions, int(good.sum()), spread / np.outer(std, std))


def extras(system: System, deviations: Array, base: Array, seed: int) -> tuple[Extra, ...]:
    """Further measurements, best first, each computed: ``base`` is the Jacobian of what is there.

    As many passages again as the log has, or one register more in every row there is.
    """
    forward = system.forward
    before = separability(base, forward).values[-1]
    sizes = [p.size for p in forward.parameters[: forward.unknowns]]
    found = []
    for what, jacobian, by in _candidates(system, deviations, base, seed):
        if np.isnan(jacobian).any():
            continue  # the rig would not measure that
        with_it = separability(jacobian, by)
        spread = (with_it.directions.T / np.maximum(with_it.values, LEAST) ** 2) @ with_it.directions
        std = np.sqrt(np.diag(spread)) * sizes
        names = with_it.names
        smallest = float(with_it.values[-1])
        gain = smallest / max(float(before), LEAST)
        found.append(Extra(what, smallest, gain, dict(zip(names, std.tolist(), strict=True))))
    return tuple(sorted(found, key=lambda extra: -extra.smallest))


def _candidates(
    system: System, deviations: Array, base: Array, seed: int
) -> Iterator[tuple[str, Array, Forward]]:
    forward, scenario = system.forward, system.forward.scenario
    seen = np.asarray(system.cells.mask.any(axis=0))
    recorded = np.asarray(np.isfinite(forward.expected(deviations[None, :], system.start[:1])[0]))
    for number, name in enumerate(REGISTERS):
        if recorded[number] and not seen[number]:
            yield (
                f"log the register {name.replace('_', ' ')} as well",
                _with_register(system, deviations, number),
                forward,
            )
    if scenario.gate.rearm is None:
        for factor in (2, 4, 8):
            yield from _with_third_gate(system, deviations, factor, seed)
    mask = seen if seen.any() else recorded
    for what, lengths, shifts in _passages(system, recorded[3] and scenario.gate.rearm is not None):
        rows = _new_rows(system, deviations, lengths, shifts, mask, seed)
        yield what, np.concatenate([rows, base]), forward


def _with_register(system: System, deviations: Array, number: int) -> Array:
    mask = system.cells.mask.copy()
    mask[:, number] = True
    return replace(system, cells=replace(system.cells, mask=mask)).jacobian(deviations)


def _with_third_gate(
    system: System, deviations: Array, factor: int, seed: int
) -> Iterator[tuple[str, Array, Forward]]:
    old = system.forward
    distance = factor * old.scenario.gate.spacing.nominal
    try:
        scenario = changed(old.scenario, "gate.rearm", f"{distance!r} m")
    except InputError:
        return
    unknown = [p.name for p in old.parameters[: old.unknowns]]
    trends = tuple(p for p in old.parameters if p.trend)
    new = replace(old, scenario=scenario, parameters=(*parameters(scenario, unknown, old.varies), *trends))
    at = dict(zip((p.name for p in old.parameters), deviations, strict=True))
    moved = np.array([at.get(p.name, 0.0) for p in new.parameters])
    passages = simulated(new, moved, system.start, DRAWS, seed)
    covariance, offset = passages.row_covariance, passages.moments[1]
    third = REGISTERS.index("third_capture")
    mask = system.cells.mask.copy()
    mask[:, third] = True
    wider = replace(
        system, forward=new, covariance=covariance, offset=offset, cells=replace(system.cells, mask=mask)
    )
    if np.isfinite(covariance[:, third, third]).all():
        yield f"add a third gate {1e3 * distance:.4g} mm behind the first", wider.jacobian(moved), new


def _passages(system: System, three: bool) -> Iterator[tuple[str, Array, Mapping[str, float]]]:
    """Further passages: what they are, lengths of the reference parts, shifts of inputs."""
    scenario, start = system.forward.scenario, system.start
    inputs = scenario.inputs()
    usual = np.array([scenario.part.length.nominal])
    for length in (0.5 * start.min(), 2.0 * start.max()):
        yield f"a reference part of {1e3 * length:.4g} mm", np.array([length]), {}
    slope = inputs["path.slope"].nominal
    for turn in (-10.0, 10.0):
        if abs(slope + np.radians(turn)) <= np.pi / 2 + 1e-9:
            yield f"a slope {turn:+.0f} deg from this one", usual, {"path.slope": np.radians(turn)}
    spacing = inputs["gate.spacing"].nominal
    for factor in (0.5, 2.0):
        if not (three and factor * spacing >= inputs["gate.rearm"].nominal):
            shift = (factor - 1.0) * spacing
            yield f"a spacing of {1e3 * factor * spacing:.4g} mm", usual, {"gate.spacing": shift}
    first = inputs["gate.first"].nominal
    yield f"a release {1e3 * 0.5 * first:.4g} mm further back", usual, {"gate.first": 0.5 * first}
    if "part.mass" in inputs and any(force.needs_mass for force in scenario.forces):
        yield "a reference part of twice the mass", usual, {"part.mass": inputs["part.mass"].nominal}


def _new_rows(
    system: System, deviations: Array, lengths: Array, shifts: Mapping[str, float], mask: Mask, seed: int
) -> Array:
    """Whitened Jacobian (4 l, k) of as many passages again, with parts of known length."""
    forward = system.forward
    _, slopes, _ = forward.derivatives(deviations, lengths, shifts)
    nearest = np.abs(system.start[:, None] - lengths).argmin(axis=0)
    w = whitening(system.covariance[nearest], np.broadcast_to(mask, (len(lengths), len(mask))))
    share = np.sqrt(system.cells.count.sum() / len(lengths))
    slopes = np.where(mask[None, :, None], slopes, 0.0)
    rows: Array = share * (w @ slopes)
    return rows.reshape(-1, slopes.shape[2])
