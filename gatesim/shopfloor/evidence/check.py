"""A claim of gatesim's, the published value it is held against, and what a run of it found."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any

import numpy as np

Values = tuple[float, ...]


@dataclass(frozen=True)
class Check:
    """One claim and how to test it.

    ``source``: where the published values come from, and whether they were read, derived or are
    from memory. ``published``: the values, or a function of a library that is independent of
    gatesim. ``ours``: computes as many (floats, shape (k,)) with the installed package. They
    must agree within ``tolerance``, absolute, for the ``reason`` given. ``unit`` of both.
    ``needs``: a library without which the check is not run. ``quick``: takes next to no time.
    """

    claim: str
    source: str
    published: Values | Callable[[], Sequence[float]]
    ours: Callable[[], Any]
    tolerance: float
    reason: str
    unit: str = ""
    needs: str = ""
    quick: bool = True


@dataclass(frozen=True)
class Finding:
    """What a check found; ``passed`` is None where it was not run, for the reason in ``remark``."""

    topic: str
    claim: str
    source: str
    published: Values
    ours: Values
    tolerance: float
    reason: str
    unit: str
    passed: bool | None
    remark: str

    @property
    def word(self) -> str:
        """The verdict in words."""
        return self.remark if self.passed is None else "pass" if self.passed else "FAIL"


def carried_out(topic: str, check: Check) -> Finding:
    """Run a check. What goes wrong in it is a failure with its reason, never an exception."""
    published: Values = check.published if isinstance(check.published, tuple) else ()
    ours: Values = ()
    passed: bool | None = None
    remark = ""
    if check.needs and find_spec(check.needs) is None:
        remark = f"not run, needs {check.needs}"
    else:
        try:
            if not isinstance(check.published, tuple):
                published = _floats(check.published())
            ours = _floats(check.ours())
            passed = len(ours) == len(published) and bool(
                np.all(np.abs(np.subtract(ours, published)) <= check.tolerance)  # false for NaN, too
            )
        except Exception as error:  # whatever breaks in a broken installation is what is looked for
            passed, remark = False, f"{type(error).__name__}: {error}"
    return Finding(
        topic,
        check.claim,
        check.source,
        published,
        ours,
        check.tolerance,
        check.reason,
        check.unit,
        passed,
        remark,
    )


def _floats(values: Any) -> Values:
    return tuple(float(value) for value in np.atleast_1d(np.asarray(values, float)))
