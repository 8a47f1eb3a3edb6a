"""The scenario file with what a record of edges told, its comments kept."""

from datetime import date
from pathlib import Path

from gatesim.ground.files import Target
from gatesim.scenario import parse_text
from gatesim.shopfloor.edges.fit import EdgeFit
from gatesim.shopfloor.fit.write import fitted_text, put

DIGITS = 4


def write_edge_fit(result: EdgeFit, source: Path, path: Path, day: date) -> None:
    """Write what was asked for; the file appears whole or not at all. Raises InputError."""
    import tomlkit  # deferred: costs start-up time

    text = source.read_text(encoding="utf-8")
    if result.motion is not None:
        text = fitted_text(result.motion, text, None, day, str(path))
    document, noise = tomlkit.parse(text), result.noise
    if "sensor.jitter" in result.asked and noise.jitter is not None:
        put(document, "sensor.jitter", _seconds(noise.jitter.jitter.value))
    if "sensor.chatter" in result.asked:
        chatter = {"mean_pulses": float(f"{noise.chatter.mean_pulses.value:.{DIGITS}g}")}
        spacing = noise.chatter.mean_spacing
        if spacing is None:
            document.get("sensor", {}).pop("chatter", None)
        else:
            put(document, "sensor.chatter", {**chatter, "mean_spacing": _seconds(spacing.value)})
    if "filter" in result.asked and noise.made_by:
        made = noise.made_by[0]
        document.pop("filter", None)
        put(document, "filter.kind", made.kind)
        put(document, "filter.time", _seconds(made.middle))
    new = tomlkit.dumps(document)
    parse_text(new, str(path))
    Target(path, "fitted scenario").write(new)


def _seconds(value: float) -> str:
    return f"{1e6 * value:.{DIGITS}g} us"
