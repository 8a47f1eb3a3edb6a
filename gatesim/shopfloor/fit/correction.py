"""What the controller should calculate with: constants from the fit, a line from reference parts."""

import math
from dataclasses import replace

import numpy as np

from gatesim.chain.controller import constants_of, controller_of, uncalibrated
from gatesim.formula import FORMULAS, Constants, Counts
from gatesim.ground.arrays import Array
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.scenario.reader import from_raw
from gatesim.shopfloor.fit.beyond import beyond
from gatesim.shopfloor.fit.result import Correction, Errors, Fit
from gatesim.shopfloor.fit.rows import Mask

# Constants of the scenario's [formula] and the quantity of the rig that each is
_OF_RIG = {"spacing": "gate.spacing", "rearm": "gate.rearm", "release_distance": "gate.first"}


def corrections(result: Fit) -> tuple[Correction, ...]:
    """Correct every formula of the rig that the log has the registers for."""
    try:
        fitted = fitted_scenario(result)
    except InputError:
        return ()  # the estimate is nothing that a rig can have; the text says so
    new = uncalibrated(fitted)
    logged = np.asarray(np.isfinite(result.rows.counts).any(axis=0))
    names = dict(zip(("dwell", "capture", "rear_capture", "third_capture"), logged, strict=True))
    found = []
    for name in controller_of(fitted).formulas:
        if all(names[register] for register in FORMULAS[name].registers):
            found.append(_correct(result, name, constants_of(result.scenario, name), new))
    return tuple(found)


def joint(result: Fit) -> dict[str, float]:
    """Joint estimates by input, SI; of what is each gate's own, by its name with @."""
    return {p.name: float(x) for p, x in zip(result.forward.parameters, result.estimate, strict=True)}


def fitted_scenario(result: Fit) -> Scenario:
    """The scenario with the joint estimates as values and no constants of the controller's own."""
    from gatesim.scenario.validated import raw_with

    raw = dict(result.scenario.raw)
    inputs = result.scenario.inputs()
    for parameter, value in zip(result.forward.parameters, result.estimate, strict=True):
        if (
            not parameter.trend
            and "@" not in parameter.name
            and (parameter.name in inputs or len(parameter.moves) > 1)
        ):
            number = float(value) / parameter.factor
            text = f"{number!r} {parameter.unit}" if parameter.unit else number
            raw = raw_with(raw, parameter.name, text)
    raw.pop("fitted", None)
    keep = {k: v for k, v in raw.get("formula", {}).items() if k == "use"}
    return from_raw({**raw, "formula": keep}, result.scenario.file)


def _correct(result: Fit, name: str, old: Constants, new: Constants) -> Correction:
    rows = result.rows
    known = rows.usable & np.isfinite(rows.reference) & ~result.odd.outliers
    train, test = known & ~rows.held_out, known & rows.held_out
    counts = Counts(*rows.counts.T)
    raw = FORMULAS[name].length(counts, new)
    train = train & np.isfinite(raw)
    gain, zero, std, span = _line(raw, rows.reference, train)
    new = replace(new, gain=gain, zero=zero)
    before = old.gain * FORMULAS[name].length(counts, old) + old.zero
    reference_uncertainty = result.options.reference_uncertainty
    return Correction(
        name,
        new,
        std,
        span,
        _errors(before - rows.reference, test, reference_uncertainty),
        _errors(gain * raw + zero - rows.reference, test, reference_uncertainty),
        beyond(result, name, new, raw[train], rows.reference[train], reference_uncertainty)
        if train.any()
        else (),
    )


def _line(
    raw: Array, reference: Array, rows: Mask
) -> tuple[float, float, tuple[float, float], tuple[float, float]]:
    """Gain and zero that carry readings to references, by least squares.

    With one reference length only the zero is had, with none neither.
    """
    x, y = raw[rows], reference[rows]
    if x.size == 0:
        return 1.0, 0.0, (math.nan, math.nan), (math.nan, math.nan)
    span = (float(y.min()), float(y.max()))
    free = x.size - 2
    if np.unique(y).size < 2 or np.unique(x).size < 2 or free < 1:
        shift = y - x
        std = float(shift.std(ddof=1) / math.sqrt(x.size)) if x.size > 1 else math.nan
        return 1.0, float(shift.mean()), (math.nan, std), span
    from scipy.stats import linregress  # deferred: costs start-up time

    line = linregress(x, y)
    return float(line.slope), float(line.intercept), (float(line.stderr), float(line.intercept_stderr)), span


def _errors(error: Array, rows: Mask, reference_uncertainty: float) -> Errors | None:
    own = error[rows & np.isfinite(error)]
    if own.size < 2:
        return None
    std = float(own.std(ddof=1))
    of_mean = std / math.sqrt(own.size)
    worst = float(own[np.abs(own).argmax()])
    total = math.sqrt(std**2 + of_mean**2 + reference_uncertainty**2)
    return Errors(int(own.size), float(own.mean()), of_mean, std, worst, total)


def best(result: Fit) -> Correction | None:
    """The correction with the least error on held-out rows; with none to judge by, the one in charge."""
    judged = [c for c in result.corrections if c.after is not None]
    if not judged:
        return result.corrections[0] if result.corrections else None
    return min(judged, key=_left)


def _left(correction: Correction) -> float:
    """Root mean square of the error that a correction leaves, m."""
    after = correction.after
    return math.inf if after is None else math.hypot(after.bias, after.uncertainty)


def correction_of(result: Fit, formula: str | None) -> Correction | None:
    """The correction of that formula; left out: of `best`. Raises InputError for one not had."""
    if formula is None:
        return best(result)
    for found in result.corrections:
        if found.formula == formula:
            return found
    names = ", ".join(found.formula for found in result.corrections) or "none"
    raise InputError(f"--formula: given {formula!r}, expected one that the log allows: {names}")
