"""All checks on this machine: versions, findings, one verdict."""

import platform
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from typing import ClassVar

from gatesim.ground.data import Keys
from gatesim.shopfloor.evidence import TOPICS
from gatesim.shopfloor.evidence.check import Check, Finding, carried_out

PACKAGES = ("gatesim", "numpy", "scipy", "pint", "statsmodels")


@dataclass(frozen=True)
class Evidence:
    """What was found on one machine on one day. ``versions``: name -> version of what was used."""

    day: str
    machine: str
    versions: dict[str, str]
    quick: bool
    findings: tuple[Finding, ...]

    KEYS: ClassVar[Keys] = {
        "verdict": "verdict",
        "passed": "passed",
        "failed": "failed",
        "not_run": "not_run",
        "*": "*",
    }

    @property
    def passed(self) -> int:
        """Number of checks that agree."""
        return sum(f.passed is True for f in self.findings)

    @property
    def failed(self) -> int:
        """Number of checks that do not."""
        return sum(f.passed is False for f in self.findings)

    @property
    def not_run(self) -> int:
        """Number of checks without what they need."""
        return sum(f.passed is None for f in self.findings)

    @property
    def verdict(self) -> str:
        """One sentence."""
        left = f"; {self.not_run} were not run for lack of a library" if self.not_run else ""
        if self.failed:
            return f"{self.failed} of {self.passed + self.failed} checks FAIL on this machine{left}."
        return f"All {self.passed} checks that were run pass on this machine{left}."


def checks(quick: bool = False) -> Iterator[tuple[str, Check]]:
    """Topic and check, in order; with ``quick`` only those that take next to no time."""
    for topic in TOPICS:
        for check in import_module(f"gatesim.shopfloor.evidence.{topic}").CHECKS:
            if check.quick or not quick:
                yield topic, check


def gather(quick: bool = False, progress: bool = False) -> Evidence:
    """Run the checks; with ``progress`` a bar shows how far it is."""
    from tqdm import tqdm  # deferred: costs start-up time

    todo = list(checks(quick))
    found = [carried_out(topic, check) for topic, check in tqdm(todo, unit=" checks", disable=not progress)]
    versions = {"Python": platform.python_version(), **{name: _version(name) for name in PACKAGES}}
    return Evidence(date.today().isoformat(), platform.platform(), versions, quick, tuple(found))


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "not installed as a package"
