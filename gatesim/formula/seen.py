"""The motion of a part as the gates see it, and what a formula takes that motion to be."""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class SeenMotion:
    """The passage of one part, SI; distances along the path, times of the part's very ends.

    ``first``: from release to gate 1; ``dwell``: how long gate 1 is covered, ``transit``: the
    leading end's time from gate 1 to gate 2; ``enters``, ``leaves``: speed of the leading and
    of the trailing end at gate 1.
    """

    first: float
    spacing: float
    length: float
    dwell: float
    transit: float
    enters: float
    leaves: float

    @property
    def early(self) -> float:
        """Mean speed of the leading end from gate 1 to gate 2."""
        return self.spacing / self.transit

    @property
    def whole(self) -> float:
        """Mean speed while gate 1 is covered."""
        return self.length / self.dwell

    @property
    def steady(self) -> bool:
        """Whether the change of speed at gate 1 is less than that of the two means."""
        return abs(self.leaves - self.enters) < abs(self.whole - self.early)

    @property
    def gained(self) -> str:
        """How the speed changes while the part passes gate 1, in words."""
        if self.steady:
            return f"its speed comes and goes while it passes gate 1, about a mean of {self.whole:.4g} m/s"
        change = self.leaves - self.enters
        verb = "gains" if change > 0.0 else "loses"
        return (
            f"it {verb} {abs(change):.2g} m/s while it passes gate 1 ({self.enters:.4g} to "
            f"{self.leaves:.4g} m/s)"
        )


@dataclass(frozen=True)
class AssumedMotion:
    """Speed of the leading end at gate 1 (m/s) and the constant acceleration before and after (m/s^2)."""

    speed: float
    acceleration: float


def through_the_gates(seen: SeenMotion, acceleration: float) -> AssumedMotion:
    """The motion of that acceleration which takes the real time from gate 1 to gate 2."""
    return AssumedMotion(seen.early - 0.5 * acceleration * seen.transit, acceleration)


def through_three_edges(seen: SeenMotion) -> AssumedMotion:
    """As `through_the_gates`, with the acceleration for which the trailing end is on time at gate 1 too."""
    acceleration = 0.0
    if seen.dwell != seen.transit:
        acceleration = 2.0 * (seen.length / seen.dwell - seen.early) / (seen.dwell - seen.transit)
    return through_the_gates(seen, acceleration)


def from_rest(seen: SeenMotion) -> AssumedMotion:
    """As `through_the_gates`, with the acceleration of a release from rest."""
    root = (math.sqrt(seen.first + seen.spacing) - math.sqrt(seen.first)) / seen.transit
    acceleration = 2.0 * root**2
    return AssumedMotion(math.sqrt(2.0 * acceleration * seen.first), acceleration)
