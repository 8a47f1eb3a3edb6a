"""The scenario file with what a fit found, its comments kept."""

import math
from collections.abc import MutableMapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from gatesim.ground.errors import InputError
from gatesim.ground.files import Target
from gatesim.scenario import parse_text
from gatesim.shopfloor.fit.correction import correction_of
from gatesim.shopfloor.fit.parameter import Parameter
from gatesim.shopfloor.fit.result import Correction, Fit
from gatesim.shopfloor.fit.verdict import verdict

LINE_IN_CHARGE = ("gain", "zero")  # keys of [formula] that [formula.calibration] takes the place of
MOVED = 0.05  # ... or moves it by more than this share of its uncertainty: the estimates go together
NARROWED = 0.9  # a known quantity is rewritten where the log brings its uncertainty below this share


def fitted_text(result: Fit, text: str, formula: str | None, day: date, name: str = "<fitted>") -> str:
    """The text of a scenario file with the fitted values, constants and provenance put in.

    Unknowns become tables with their standard uncertainty, and so do quantities that the log
    narrowed. [formula] gets the constants and the calibration line of every formula; ``formula``
    (left out: the best) comes to be in charge. Raises InputError where an unknown is not determined
    or its estimate is not one a rig can have.
    """
    import tomlkit  # deferred: costs start-up time

    _refuse(result)
    document = tomlkit.parse(text)
    for parameter, value, std in zip(result.forward.parameters, result.estimate, result.std, strict=True):
        known_better = parameter.unknown or std < NARROWED * parameter.prior
        moved = abs(value - parameter.nominal) > MOVED * std
        if not parameter.trend and (known_better or moved):
            table = _quantity(parameter, float(value), _spread(result, parameter, float(std)))
            put(document, _path(parameter.name), table)
    chosen = correction_of(result, formula)
    if chosen is not None:
        _put_constants(document, chosen, result.corrections)
    document["fitted"] = _provenance(result, chosen, day)
    new = tomlkit.dumps(document)
    parse_text(new, name)
    return new


def write_fitted(result: Fit, source: Path, target: Path, formula: str | None, day: date) -> None:
    """Write the fitted scenario; ``target`` appears whole or not at all. Raises InputError."""
    new = fitted_text(result, source.read_text(encoding="utf-8"), formula, day, str(target))
    Target(target, "fitted scenario").write(new)


def _path(name: str) -> str:
    """Where the file has a quantity: what is a gate's own in a table of that gate."""
    path, _, gate = name.partition("@")
    section, _, key = path.partition(".")
    return f"{section}.gate{gate}.{key}" if gate else path


def _refuse(result: Fit) -> None:
    loose = [p.name for p, u in zip(result.forward.parameters, result.std, strict=True) if math.isinf(u)]
    if loose:
        raise InputError(
            f"{result.rows.log.path}: this log does not determine {' and '.join(loose)}, expected fewer "
            "unknowns: state one of them with a standard uncertainty, or log what would separate them"
        )


def _spread(result: Fit, parameter: Parameter, std: float) -> float:
    """Standard uncertainty to state: with the scatter from passage to passage where there is one."""
    if not set(parameter.moves) & set(result.forward.varies):
        return std
    return math.hypot(std, result.scenario.inputs()[parameter.moves[0]].std)


def _quantity(parameter: Parameter, value: float, std: float) -> dict[str, Any]:
    value, std = value / parameter.factor, std / parameter.factor
    # three digits more than the uncertainty's first: rounding adds nothing to it
    places = 3 - math.floor(math.log10(std))
    number, spread = round(value, places), float(f"{std:.3g}")
    if parameter.unit:
        return {
            "value": f"{number!r} {parameter.unit}",
            "distribution": "normal",
            "standard_uncertainty": f"{spread!r} {parameter.unit}",
        }
    return {"value": number, "distribution": "normal", "standard_uncertainty": spread}


def put(document: MutableMapping[str, Any], path: str, value: object) -> None:
    """Set the value at a dotted path, in the table where it stands."""
    import tomlkit

    *tables, key = path.split(".")
    at: Any = document
    for step in tables:
        if isinstance(at, list):
            at = at[int(step) - 1]
            continue
        if step not in at:
            at[step] = tomlkit.table()
        at = at[step]
    if isinstance(value, dict):
        inline = tomlkit.inline_table()
        inline.update(value)
        value = inline
    at[key] = value


def _put_constants(
    document: MutableMapping[str, Any], chosen: Correction, corrections: Sequence[Correction]
) -> None:
    """What the controller holds: distances, and a line for each formula, the chosen one in charge."""
    import tomlkit

    constants = chosen.constants
    lengths = {"spacing": constants.spacing, "rearm": constants.rearm}
    lengths["release_distance"] = constants.release_distance
    for key, value in lengths.items():
        if math.isfinite(value):
            put(document, f"formula.{key}", f"{round(1e3 * value, 6)!r} mm")
    if math.isfinite(constants.acceleration):
        put(document, "formula.acceleration", f"{round(constants.acceleration, 6)!r} m/s^2")
    others = [c.formula for c in corrections if c is not chosen]
    put(document, "formula.use", [chosen.formula, *others])
    for key in LINE_IN_CHARGE:
        document["formula"].pop(key, None)
    lines = tomlkit.table(is_super_table=True)
    for each in corrections:
        line = tomlkit.table()
        line["gain"] = round(each.constants.gain, 9)
        line["zero"] = f"{round(1e3 * each.constants.zero, 6)!r} mm"
        lines[each.formula] = line
    document["formula"]["calibration"] = lines


def _provenance(result: Fit, chosen: Correction | None, day: date) -> Any:
    import tomlkit

    table = tomlkit.table()
    names = [p.name for p in result.forward.parameters]
    note = "Left by a fit. Estimates and covariance in SI units; drawn with these correlations."
    table.add(tomlkit.comment(note))
    table["log"] = result.rows.log.path
    table["rows"] = int(result.cells.count.sum())
    table["held_out"] = result.held_out
    table["set_apart"] = len(result.apart)
    table["seed"] = result.options.seed
    table["date"] = day
    table["holds"] = result.adequacy.holds
    table["verdict"] = " ".join(verdict(result))
    if chosen is not None and chosen.after is not None:
        table["references"] = list(chosen.references)
        table["promised"] = float(f"{chosen.after.uncertainty:.3g}")
        table["beyond"] = [[round(x, 6), float(f"{u:.3g}")] for x, u in chosen.beyond]
    table["unknowns"] = names[: result.forward.unknowns]
    table["varies"] = list(result.forward.varies)
    table["quantities"] = tomlkit.array()
    table["quantities"].extend(names)
    table["estimates"] = [float(x) for x in result.estimate]
    rows = tomlkit.array()
    rows.extend([[float(f"{x:.9g}") for x in row] for row in result.covariance])
    table["covariance"] = rows.multiline(True)
    return table
