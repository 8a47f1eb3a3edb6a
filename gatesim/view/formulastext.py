"""The length formulas as text."""

from collections.abc import Sequence
from textwrap import fill

from gatesim.counter import SOURCES
from gatesim.formula.base import Formula

WIDTH = 100


def formulas_text(formulas: Sequence[Formula], symbols: Sequence[str]) -> str:
    """One block a formula, below what the symbols mean."""
    lines = [*(f"  {symbol}" for symbol in symbols), ""]
    for formula in formulas:
        lines += [
            formula.name,
            _said("length", formula.equation),
            _said("idea", f"{formula.idea}."),
            _said("needs", f"{formula.needs}; {formula.gates} gates, counts of {_counted(formula)}"),
            _said("assumes", formula.assumes),
            _said("error under a constant acceleration a", formula.at_constant_acceleration),
            "",
        ]
    lines.append('In a scenario: [formula], use = "NAME" or a list of them; keys: gatesim keys formula')
    return "\n".join(lines)


def _counted(formula: Formula) -> str:
    """Sources whose counts it can take."""
    return " or ".join(source.word for source in SOURCES if formula.counts_of in (source.measures, "either"))


def _said(what: str, text: str) -> str:
    return fill(
        f"{what}: {text}", WIDTH, initial_indent="  ", subsequent_indent="      ", break_on_hyphens=False
    )
