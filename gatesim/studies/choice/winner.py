"""The winner as a scenario file."""

from pathlib import Path
from typing import Any

from gatesim.chain.controller import controller_of
from gatesim.ground.errors import InputError
from gatesim.ground.files import Target
from gatesim.scenario import parse_text
from gatesim.studies.choice.choose import ChoiceResult, Entry


def scenario_text(entry: Entry, title: str) -> str:
    """The candidate as a scenario file; comments of the base file are kept. Raises InputError."""
    import tomlkit  # deferred: costs start-up time

    base = entry.candidate.base
    try:
        document = tomlkit.parse(Path(base.file).read_text(encoding="utf-8"))
    except OSError:  # its tables stood in the file of the choice
        document = tomlkit.document()
        document.update(base.raw)
    for path, value in {**entry.candidate.edits, **_calibration(entry), "title": title}.items():
        _put(document, path, value)
    text = tomlkit.dumps(document)
    parse_text(text, f"{title} (winner)")
    return text


def _calibration(entry: Entry) -> dict[str, Any]:
    """The calibration line on top of the one that the scenario has."""
    gain, zero = entry.evaluation.line
    assert entry.candidate.scenario is not None
    scenario = entry.candidate.scenario
    if (gain, zero) == (1.0, 0.0):
        return {}
    charge, old = next(iter(controller_of(scenario).constants.items()))
    table = "formula" if scenario.formula.calibration is None else f"formula.calibration.{charge}"
    return {
        f"{table}.gain": float(f"{gain * old.gain:.9g}"),
        f"{table}.zero": f"{1e3 * (gain * old.zero + zero):.6f} mm",
    }


def _put(table: Any, path: str, value: Any) -> None:
    """Set a value in a TOML document as `gatesim.scenario.validated.raw_with` does in a table."""
    key, _, rest = path.partition(".")
    if isinstance(table, list):
        _put(table[int(key) - 1], rest, value)
    elif rest:
        if key not in table:
            if value is None:
                return
            import tomlkit

            table[key] = tomlkit.table()
        _put(table[key], rest, value)
    elif value is None:
        table.pop(key, None)
    else:
        old = table.get(key)
        if isinstance(old, dict) and "distribution" in old and not isinstance(value, dict):
            old["value"] = value
        else:
            table[key] = value


def save_winner(result: ChoiceResult, path: Path) -> None:
    """Write the winner as a scenario file. Raises InputError if there is none, or the file cannot be."""
    winner = result.winner
    if winner is None:
        raise InputError(f"{path}: no candidate meets the requirement, so no scenario is written")
    title = f"{result.choice.sections.title or 'Chosen rig'}: {winner.candidate.name}"
    Target(path, "chosen scenario").write(scenario_text(winner, title))
