"""Evidence as text for the terminal and as a page to file."""

from textwrap import fill

from tabulate import tabulate

from gatesim.shopfloor.evidence import TOPICS
from gatesim.shopfloor.evidence.check import Finding
from gatesim.shopfloor.evidence.gather import Evidence
from gatesim.view.template import render

NOT_PROVED = (
    "What this does not prove: that a scenario describes the rig that stands on your floor, that a log is "
    "sound, or that a claim without an entry here holds. It shows that this installation computes what is "
    "listed as the sources say."
)


def evidence_text(found: Evidence) -> str:
    """Versions, a line a check by topic, what fails in full, and the verdict."""
    used = ", ".join(f"{name} {version}" for name, version in found.versions.items())
    lines = [f"{found.day}, {used}", found.machine, ""]
    for topic, heading in TOPICS.items():
        rows = [[_short(f), f.claim] for f in found.findings if f.topic == topic]
        lines += [heading, tabulate(rows, tablefmt="plain"), ""]
    for finding in (f for f in found.findings if f.passed is False):
        lines += [f"FAIL: {finding.claim}", *_details(finding), ""]
    return "\n".join([*lines, fill(NOT_PROVED, 100), "", found.verdict])


def evidence_html(found: Evidence) -> str:
    """One page that needs nothing else, and prints."""
    sections = [
        (topic, heading, [_row(f) for f in found.findings if f.topic == topic])
        for topic, heading in TOPICS.items()
    ]
    return render("evidence.html.j2", found=found, sections=sections, limits=NOT_PROVED)


def _short(finding: Finding) -> str:
    return finding.word if finding.passed is None else "pass" if finding.passed else "FAIL"


def _details(finding: Finding) -> list[str]:
    return [
        f"  source     {finding.source}",
        f"  published  {values(finding.published)} {finding.unit}".rstrip(),
        f"  ours       {values(finding.ours) or finding.remark} {finding.unit}".rstrip(),
        f"  tolerance  {finding.tolerance:.3g} ({finding.reason})",
    ]


def values(numbers: tuple[float, ...]) -> str:
    """Numbers with as many digits as tell them apart from their tolerance by eye."""
    return ", ".join(f"{number:.10g}" for number in numbers)


def _row(finding: Finding) -> dict[str, str]:
    return {
        "claim": finding.claim,
        "source": finding.source,
        "published": values(finding.published),
        "ours": values(finding.ours) or finding.remark,
        "tolerance": f"{finding.tolerance:.3g}",
        "reason": finding.reason,
        "unit": finding.unit,
        "word": _short(finding),
        "state": "left" if finding.passed is None else "good" if finding.passed else "bad",
    }
