"""When to stop: the adaptive rule of JCGM 101:2008, clause 7.9."""

import math
from dataclasses import dataclass
from typing import ClassVar

from gatesim.ground.errors import InputError

# With two sequences, as 7.9.4 allows, the standard deviation of the averages has one
# degree of freedom and the rule now and then stops by luck; ten cost little.
LEAST_SEQUENCES = 10


def tolerance_of_digits(u: float, digits: int) -> float:
    """Numerical tolerance 10^l / 2 of u = c 10^l, c an integer of ``digits`` digits (JCGM 101, 7.9.2)."""
    if not (math.isfinite(u) and u > 0.0):
        return 0.0
    # format() rounds first, so that 0.0999 to one digit counts as 0.1
    exponent = int(f"{u:.{digits - 1}e}".split("e")[1])
    return 0.5 * 10.0 ** (exponent - digits + 1)


@dataclass(frozen=True)
class Until:
    """Target: either a share of the standard uncertainty or a number of its significant digits."""

    relative: float | None = None
    digits: int | None = None

    KEYS: ClassVar[str] = "text"

    def tolerance(self, u: float) -> float:
        """Numerical tolerance delta for a standard uncertainty ``u``, in its unit."""
        if self.digits is not None:
            return tolerance_of_digits(u, self.digits)
        assert self.relative is not None
        return self.relative * u

    @property
    def text(self) -> str:
        """As a user writes it."""
        return f"{self.digits}" if self.digits is not None else f"{100 * (self.relative or 0.0):g}%"


def parse_until(text: str) -> Until:
    """Read ``"0.1%"`` (of the standard uncertainty) or ``"2"`` (its significant digits).

    Raises InputError.
    """
    try:
        if text.strip().endswith("%"):
            relative = float(text.strip().removesuffix("%")) / 100.0
            if not 0.0 < relative < 1.0:
                raise ValueError
            return Until(relative=relative)
        digits = int(text)
        if not 1 <= digits <= 6:
            raise ValueError
        return Until(digits=digits)
    except ValueError:
        raise InputError(
            f"--until: given {text!r}, expected a share of the standard uncertainty such as 0.1% "
            "or a number of its significant digits from 1 to 6"
        ) from None
