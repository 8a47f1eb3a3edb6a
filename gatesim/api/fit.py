"""A rig fitted to the log of its counts, or to a record of its edges."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Literal

from gatesim.api.countfit import Fit
from gatesim.api.edgefit import EdgeFit, fit_to_edges
from gatesim.api.given import Given, not_negative, renamed
from gatesim.api.result import at_work
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.shopfloor.edgetimes import is_record
from gatesim.shopfloor.fit import fit as fitted
from gatesim.shopfloor.fit.correction import correction_of
from gatesim.shopfloor.fit.result import FitOptions
from gatesim.shopfloor.log import Log, read_log


@at_work("fitting")
def fit(
    scenario: Scenario,
    log: Log | Path | str,
    unknown: str | Sequence[str],
    *,
    varies: str | Sequence[str] = (),
    trend: str | Sequence[str] = (),
    formula: str | None = None,
    reference_uncertainty: Given = 0.0,
    mass_follows_length: bool = False,
    held_out: float = 0.25,
    seed: int = 1,
    column: Mapping[str, str] | Sequence[str] = (),
    gate: Mapping[int, str] | Sequence[str] = (),
    filtered: Mapping[int, str] | Sequence[str] = (),
    dark: Literal["high", "low"] = "high",
    quiet: Given = 0.1,
    reference: Given | None = None,
) -> "Fit | EdgeFit":
    """Estimate ``unknown`` quantities of a rig, such as "path.friction", from a log of its counts.

    ``log`` may be a record of edge times, as `gatesim.edges` takes it, with its keywords; then
    "sensor.jitter", "sensor.chatter" and "filter" may be unknown, too. ``filtered``: channel of each gate
    behind the input filter; ``reference``: the length of the part in all passages.

    ``varies``: quantities whose spread is from passage to passage, ``trend``: fitted ones that change
    steadily over the log. ``reference_uncertainty``:
    standard uncertainty of each reference length (m, text or pint). ``held_out``: share of the
    reference rows that only judges the correction. ``column`` renames headers of the log:
    {"N1": "dwell [1]"}. Raises InputError.
    """
    options = FitOptions(
        (unknown,) if isinstance(unknown, str) else tuple(unknown),
        (varies,) if isinstance(varies, str) else tuple(varies),
        not_negative(reference_uncertainty, "reference-uncertainty"),
        held_out,
        seed,
        mass_follows_length,
        trends=(trend,) if isinstance(trend, str) else tuple(trend),
    )
    if not isinstance(log, Log) and (gate or filtered or is_record(Path(log))):
        return fit_to_edges(
            scenario, log, options, gate=gate, filtered=filtered, dark=dark, quiet=quiet, reference=reference
        )
    if reference is not None:
        raise InputError(
            '--reference: given for a log of counts, expected its column "reference [mm]" instead'
        )
    rows = log if isinstance(log, Log) else read_log(log, mapping=renamed(column))
    found = fitted.fit(scenario, rows, options)
    correction_of(found, formula)
    return Fit.of(found, formula=formula)
