"""The length formulas, for people."""

from dataclasses import dataclass
from typing import Any

from gatesim.api.result import Result
from gatesim.formula import FORMULAS
from gatesim.formula.base import Formula

SYMBOLS = (
    "T      dwell: how long gate 1 is dark",
    "t_s    capture: leading edge from gate 1 to gate 2",
    "t_r    trailing edge from gate 1 to gate 2: rear capture less dwell",
    "t_3    third capture: leading edge from gate 1 to gate 3",
    "s, s_3 spacing: from gate 1 to gate 2, and to gate 3",
    "x_A    from the leading end at release to gate 1",
    "v, a   speed of the leading end at gate 1, acceleration",
    "a'     the acceleration that the controller was told",
    "N, p   counts of travel while gate 1 is dark, travel of one count",
)


@dataclass(frozen=True, repr=False)
class Formulas(Result):
    """Every formula: its equation, what it needs and takes for granted, its error."""

    members: tuple[Formula, ...]

    def __str__(self) -> str:
        from gatesim.view.formulastext import formulas_text

        return formulas_text(self.members, SYMBOLS)

    def data(self) -> Any:
        """One entry a formula."""
        return [
            {
                "name": f.name,
                "equation": f.equation,
                "needs": f.needs,
                "gates": f.gates,
                "idea": f.idea,
                "takes_for_granted": f.assumes,
                "error_at_constant_acceleration": f.at_constant_acceleration,
                "counts_of": f.counts_of,
            }
            for f in self.members
        ]


def formulas() -> Formulas:
    """Every length formula, in the order in which they are listed."""
    return Formulas(tuple(FORMULAS.values()))
