"""A hazard of a rig, and what to do about it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Caution:
    """What can hurt, and the usual precaution."""

    hazard: str
    text: str

    def __str__(self) -> str:
        return f"{self.hazard}: {self.text}"
