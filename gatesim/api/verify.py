"""Whether this installation computes right."""

from dataclasses import dataclass
from pathlib import Path

from gatesim.api.result import Result, watched
from gatesim.ground.files import Target
from gatesim.shopfloor.evidence import gather


@dataclass(frozen=True, repr=False)
class Evidence(Result, gather.Evidence):
    """Every check with its source, published value and ours, and one verdict."""

    def __str__(self) -> str:
        from gatesim.view.evidence import evidence_text

        return evidence_text(self)

    def save(self, path: Path | str) -> None:
        """Write the evidence as one page that prints. Raises InputError."""
        from gatesim.view.evidence import evidence_html

        Target(Path(path), "page").write(evidence_html(self))


def verify(*, quick: bool = False) -> Evidence:
    """Run the checks of the installed package against published values.

    ``quick``: only those that take next to no time. ``failed`` is 0 if all agree.
    """
    return Evidence.of(gather.gather(quick, watched()))
