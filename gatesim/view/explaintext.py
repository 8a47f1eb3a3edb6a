"""An explanation as text for the terminal."""

from textwrap import fill

from tabulate import tabulate

from gatesim.explanation.breakdown import Breakdown
from gatesim.explanation.remedy import Remedies, Remedy
from gatesim.explanation.sentences import Facts, advice, cause, headline
from gatesim.prediction.devices import Device

WIDTH = 100
MM = 1e3


def explain_text(
    found: Breakdown,
    about: Facts,
    tried: Remedies,
    along: tuple[Device, ...] = (),
    remarks: tuple[str, ...] = (),
) -> str:
    """Headline, the split, the reason, devices along the path, what was tried, remarks on the formulas."""
    told = [fill(" ".join((device.words, *device.limits)), WIDTH) for device in along]
    return "\n".join(
        [
            f"Formula {found.formula}. {headline(found)}",
            "",
            _shares(found),
            "",
            "Each part is what its cause adds, averaged over all orders in which the causes could be let in",
            "(Shapley value). The interval is what the chance of a phase alone can make of it.",
            "",
            fill(cause(found, about), WIDTH),
            "",
            *(line for paragraph in told for line in (paragraph, "")),
            _tried(tried),
            "",
            *_hows(tried),
            "",
            fill(advice(tried), WIDTH),
            *(line for remark in remarks for line in ("", fill(remark, WIDTH))),
        ]
    )


def _shares(found: Breakdown) -> str:
    rows = [
        [s.name, f"{MM * s.error:+.4f}", "" if s.low != s.low else f"{MM * s.low:+.4f} to {MM * s.high:+.4f}"]
        for s in found.shares
    ]
    rows.append(["sum: reading less true length", f"{MM * found.error:+.4f}", ""])
    head, align = ["cause", "mm", "by chance"], ("left", "right", "right")
    return str(tabulate(rows, head, disable_numparse=True, colalign=align))


def remedy_cells(remedy: Remedy) -> list[str]:
    """New error, standard uncertainty, where 95 % of the readings lie, in mm; or why there is none."""
    if remedy.error != remedy.error:
        return [remedy.outcome.word, "-", "-"]
    return [f"{MM * remedy.error:+.3f}", *(_or_unread(value) for value in (remedy.spread, remedy.reach))]


def _or_unread(value: float) -> str:
    """A length in mm, or what to say where the simulated passages give no reading to take it from."""
    return "not read" if value != value else f"{MM * value:.3f}"


def _tried(tried: Remedies) -> str:
    rows = [
        [str(number), "yes" if r.enough else "", r.effort.words, r.proposal.title, *remedy_cells(r)]
        for number, r in enumerate((tried.now, *tried.tried))
    ]
    rows[0][0], rows[0][2] = "", "nothing"
    head = ["", "enough", "takes", "change", "error mm", "std unc. mm", "95 % within mm"]
    return str(
        tabulate(rows, head, disable_numparse=True, colalign=("right",) + ("left",) * 3 + ("right",) * 3)
    )


def _hows(tried: Remedies) -> list[str]:
    """Where and to what, with the numbers, by the number of the change in the table."""
    return [
        fill(f"{number:>2}  {r.how}", WIDTH, subsequent_indent="    ")
        for number, r in enumerate(tried.tried, start=1)
    ]
