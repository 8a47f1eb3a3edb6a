"""An explanation as text for the terminal."""

from textwrap import fill

from tabulate import tabulate

from gatesim.explanation.breakdown import Breakdown
from gatesim.explanation.remedy import Remedies, Remedy
from gatesim.explanation.sentences import Facts, advice, cause, headline
from gatesim.prediction.devices import Device
from gatesim.view.lengthunit import MM, LengthUnit

WIDTH = 100


def explain_text(
    found: Breakdown,
    about: Facts,
    tried: Remedies,
    along: tuple[Device, ...] = (),
    remarks: tuple[str, ...] = (),
    unit: LengthUnit = MM,
) -> str:
    """Headline, the split, the reason, devices along the path, what was tried, remarks on the formulas."""
    told = [fill(unit.said(" ".join((device.words, *device.limits))), WIDTH) for device in along]
    return "\n".join(
        [
            f"Formula {found.formula}. {unit.said(headline(found))}",
            "",
            _shares(found, unit),
            "",
            "Each part is what its cause adds, averaged over all orders in which the causes could be let in",
            "(Shapley value). The interval is what the chance of a phase alone can make of it.",
            "",
            fill(unit.said(cause(found, about)), WIDTH),
            "",
            *(line for paragraph in told for line in (paragraph, "")),
            _tried(tried, unit),
            "",
            *_hows(tried, unit),
            "",
            fill(unit.said(advice(tried)), WIDTH),
            *(line for remark in remarks for line in ("", fill(unit.said(remark), WIDTH))),
        ]
    )


def _shares(found: Breakdown, unit: LengthUnit) -> str:
    rows = [
        [
            s.name,
            unit.signed(s.error, 4),
            "" if s.low != s.low else f"{unit.signed(s.low, 4)} to {unit.signed(s.high, 4)}",
        ]
        for s in found.shares
    ]
    rows.append(["sum: reading less true length", unit.signed(found.error, 4), ""])
    head, align = ["cause", unit.name, "by chance"], ("left", "right", "right")
    return str(tabulate(rows, head, disable_numparse=True, colalign=align))


def remedy_cells(remedy: Remedy, unit: LengthUnit = MM) -> list[str]:
    """New error, standard uncertainty, where 95 % of the readings lie; or why there is none."""
    if remedy.error != remedy.error:
        return [remedy.outcome.word, "-", "-"]
    return [
        unit.signed(remedy.error, 3),
        *(_or_unread(value, unit) for value in (remedy.spread, remedy.reach)),
    ]


def _or_unread(value: float, unit: LengthUnit) -> str:
    """A length, or what to say where the simulated passages give no reading to take it from."""
    return "not read" if value != value else unit.fixed(value, 3)


def _tried(tried: Remedies, unit: LengthUnit) -> str:
    rows = [
        [
            str(number),
            "yes" if r.enough else "",
            r.effort.words,
            unit.said(r.proposal.title),
            *remedy_cells(r, unit),
        ]
        for number, r in enumerate((tried.now, *tried.tried))
    ]
    rows[0][0], rows[0][2] = "", "nothing"
    head = ["", "enough", "takes", "change", f"error {unit.name}", f"std unc. {unit.name}"]
    head.append(f"95 % within {unit.name}")
    return str(
        tabulate(rows, head, disable_numparse=True, colalign=("right",) + ("left",) * 3 + ("right",) * 3)
    )


def _hows(tried: Remedies, unit: LengthUnit) -> list[str]:
    """Where and to what, with the numbers, by the number of the change in the table."""
    return [
        fill(f"{number:>2}  {unit.said(r.how)}", WIDTH, subsequent_indent="    ")
        for number, r in enumerate(tried.tried, start=1)
    ]
