"""What a fit is worth, in words: for the terminal, and for the scenario that it writes."""

from gatesim.shopfloor.fit.drift import Drift
from gatesim.shopfloor.fit.parameter import Parameter
from gatesim.shopfloor.fit.result import Fit

EXPLAINED = 0.01  # p-value above which a single quantity explains a trend wholly


def verdict(result: Fit) -> tuple[str, ...]:
    """Sentences, the gravest first."""
    found = result.adequacy
    said = []
    if found.misfits:
        said.append(
            "LACK OF FIT: the model does not describe this log; estimates and uncertainties do not hold."
        )
    if found.drifted:
        said += _drift(result)
    if found.scatters:
        said.append(_scatter(result))
    trend = _trends(result)
    if not said:
        said.append(f"The model describes the log{' with its trend' if trend else ''}.")
    return (*said, *trend)


def _in(parameter: Parameter, value: float, digits: int = 2) -> str:
    return f"{value / parameter.factor:+.{digits}g} {parameter.unit}".strip()


def _drift(result: Fit) -> list[str]:
    """What drifts, by how much, and what to do about it."""
    adequacy = result.adequacy
    if not adequacy.drifts:
        return ["DRIFT: the counts change with time; no quantity of the fit explains how."]
    best = adequacy.drifts[0]
    parameter = next(p for p in result.forward.parameters if p.name == best.name)
    fits = best.rest > EXPLAINED
    how = "explained by" if fits else "not explained by one quantity; nearest is"
    per = "an hour" if adequacy.drift_per == "hour" else "a hundred rows"
    change = (
        f"{_in(parameter, best.slope, 3)} {per} (u = {_in(parameter, best.std).lstrip('+')}), "
        f"{_in(parameter, best.over_log)} over the log"
    )
    means = "Estimates are means over the log: they hold for no single time, nor for what comes next."
    offer = f"With --trend {best.name} the change is part of the model." if fits else ""
    return [
        f"DRIFT: the counts change with time, {how} {best.name}: {change}. {means} {offer}".strip(),
        *_alike(result, best),
    ]


def _alike(result: Fit, best: Drift) -> list[str]:
    """Other quantities whose change explains the trend as wholly."""
    others = [d.name for d in result.adequacy.drifts[1:] if d.rest > EXPLAINED]
    if best.rest <= EXPLAINED or not others:
        return []
    return [f"A change of {' or '.join(others)} would explain the drift as well: this log cannot tell."]


def _scatter(result: Fit) -> str:
    found = result.adequacy
    share = 100.0 * float(result.odd.suspects.sum()) / max(int(result.rows.usable.sum()), 1)
    if not found.widened:
        return (
            f"MORE SCATTER THAN STATED: {share:.0f} % of the rows lie further off than the model's scatter "
            "explains, too many for outliers, and too few repeat each other to estimate it; uncertainties "
            "do not hold. Repeat rows, or name what varies with --varies."
        )
    return (
        f"MORE SCATTER THAN STATED: repeated rows scatter {found.scatter_ratio:.2g} times as much as jitter, "
        "phases and whole counts make them. The uncertainties are widened to the scatter found: the "
        "covariance of repeated rows takes the place of the simulated one. Name what varies with --varies."
    )


def _trends(result: Fit) -> list[str]:
    said = []
    moments = result.rows.moment[result.cells.row >= 0]
    by_name = {p.name: float(x) for p, x in zip(result.forward.parameters, result.estimate, strict=True)}
    for parameter in result.forward.parameters:
        if parameter.trend:
            name = parameter.name.removesuffix(f" per {result.rows.per}")
            ends = (by_name[name] + by_name[parameter.name] * at for at in (moments.min(), moments.max()))
            first, last = (_in(parameter, value, 4).lstrip("+") for value in ends)
            said.append(
                f"{name} goes from {first} at the first row to {last} at the last; its estimate is "
                "that of the middle of the log."
            )
    return said
