"""What constants are worth at lengths that no reference part has."""

import numpy as np

from gatesim.counter.counter import REGISTERS
from gatesim.formula import FORMULAS, Constants, Counts
from gatesim.ground.arrays import Array
from gatesim.ground.draw import Streams
from gatesim.shopfloor.fit.result import Fit

STEPS = (1.0 / 3.0, 2.0 / 3.0, 1.0)  # of the span of the references, beyond either end
ONE_REFERENCE = 0.3  # stands for the span where there is one reference length: so much of it
DRAWS = 500


def beyond(
    result: Fit, name: str, constants: Constants, raw: Array, references: Array, reference_uncertainty: float
) -> tuple[tuple[float, float], ...]:
    """Pairs of length and standard uncertainty of a reading there, m, by length.

    ``raw`` (r,) are the readings with gain 1 and zero 0 that the line through ``references``
    (r,) rests on. The uncertainty has the mean error and the scatter of passages simulated with
    the fitted model, in whole counts, and the line's own (ordinary least squares).
    """
    low, high = float(references.min()), float(references.max())
    span = (high - low) or ONE_REFERENCE * high
    lengths = [low - s * span for s in reversed(STEPS)] + [high + s * span for s in STEPS]
    found = []
    for length in (x for x in lengths if x > 0.0):
        reading = _readings(result, name, constants, length)
        if reading.size < DRAWS // 2:
            continue  # the rig hardly measures such a part
        error = constants.gain * reading + constants.zero - length
        own = _line_variance(raw, references, constants, float(reading.mean()))
        found.append((length, float(np.sqrt((error**2).mean() + own + reference_uncertainty**2))))
    return tuple(found)


def _readings(result: Fit, name: str, constants: Constants, length: float) -> Array:
    """Finite readings with gain 1 and zero 0 of simulated passages of a part of that length."""
    forward = result.forward
    at = np.broadcast_to(result.minimum.estimate, (DRAWS, len(forward.parameters)))
    draw = Streams(result.options.seed, 1, DRAWS)
    counts = forward.scattered(at, np.full(DRAWS, length), draw, quantised=True)
    registers = Counts(**dict(zip(REGISTERS, counts.T, strict=True)))
    with np.errstate(invalid="ignore", divide="ignore"):  # registers that the rig lacks
        reading = FORMULAS[name].length(registers, constants)
    return np.asarray(reading[np.isfinite(reading)])


def _line_variance(raw: Array, references: Array, constants: Constants, at: float) -> float:
    """Variance of the fitted line at a reading, m^2."""
    free = raw.size - (2 if np.ptp(references) > 0.0 else 1)
    if free < 1:
        return 0.0
    left = references - constants.gain * raw - constants.zero
    one = float((left**2).sum()) / free
    if not np.ptp(references) > 0.0:
        return one / raw.size
    middle = float(raw.mean())
    return one * (1.0 / raw.size + (at - middle) ** 2 / float(((raw - middle) ** 2).sum()))
