"""What a member of a family offers for a rig that could do better with it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Suggestion:
    """``title`` what is done, ``how`` what goes with it; ``changes`` and keys to ``drop`` by path.

    ``another_machine``: it takes the place of what moves the part now, and is not just added.
    """

    title: str
    how: str
    changes: Mapping[str, Any]
    drop: tuple[str, ...] = ()
    another_machine: bool = False
