"""Spacing and dwell, corrected for an acceleration that is known or fitted.

L = s T / t_s + (a/2) T (T - t_s): exact under the constant acceleration a.
"""

from gatesim.formula import spacing_dwell
from gatesim.formula.base import Constants, Counts, Formula
from gatesim.ground.arrays import Array


def length(counts: Counts, constants: Constants) -> Array:
    """Uncorrected reading plus what the part gained while it passed."""
    gained = 0.5 * constants.acceleration * constants.tick**2
    return spacing_dwell.length(counts, constants) + gained * counts.dwell * (counts.dwell - counts.capture)


FORMULA = Formula(
    name="known-acceleration",
    equation="L = s T / t_s + (a/2) T (T - t_s)",
    needs="dwell at gate 1, one capture at gate 2, clock frequency, acceleration",
    registers=("dwell", "capture"),
    constants=("spacing", "tick", "acceleration"),
    length=length,
)
