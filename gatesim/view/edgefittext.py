"""A fit to a record of edges as text for a terminal."""

from collections.abc import Sequence
from textwrap import fill

from gatesim.shopfloor.edges.chatter import ChatterSeen, Estimate
from gatesim.shopfloor.edges.filters import FilterRange
from gatesim.shopfloor.edges.fit import EdgeFit, EdgeNoise
from gatesim.shopfloor.edges.jitter import JitterSeen
from gatesim.view.fittext import fit_text
from gatesim.view.lengthunit import LengthUnit
from gatesim.view.number import plain

US, MS = 1e6, 1e3
WIDTH = 100
SHOWN = 10

NOT_TOLD = (
    "What edges cannot tell: a delay that all of them share, which changes nothing; and a filter, from the "
    "sensors' edges alone. One delay of both edges of a gate looks much like a gate further on, light later "
    "than dark like a longer part: how far a record tells them apart, their uncertainties say, with the "
    "distances and --reference as known as they are stated."
)


def edge_fit_text(found: EdgeFit, unit: LengthUnit | None = None) -> str:
    """Noise, then the motion, then what cannot be told."""
    record, noise = found.record, found.noise
    gates = ", ".join(f"gate {gate} = {name}" for gate, name in record.channels.items())
    lines = [
        f"{record.file}: {gates}; {len(record.passages)} passages, {noise.used} used, "
        f"times to {plain(US * noise.step, 3)} us",
        *(f"  passage {bad.line}: {bad.reason}" for bad in noise.apart[:SHOWN]),
    ]
    if len(noise.apart) > SHOWN:
        lines.append(f"  ... and {len(noise.apart) - SHOWN} more")
    lines += ["", *(fill(line, WIDTH, subsequent_indent="  ") for line in _noise(noise))]
    if found.motion is not None:
        lines += ["", "Motion and delays; a line of the log is a passage of the record:"]
        lines += [fit_text(found.motion, constants=False, unit=unit)]
    return "\n".join([*lines, "", fill(NOT_TOLD, WIDTH)])


def _noise(noise: EdgeNoise) -> list[str]:
    return [_jitter(noise.jitter), *chatter_lines(noise.chatter, noise.step), *_filters(noise)]


def _range(found: Estimate, factor: float, unit: str) -> str:
    value, low, high = (plain(factor * x, 3) for x in (found.value, found.low, found.high))
    return f"{value}{unit} (95 % confidence {low} to {high}{unit})"


def _jitter(found: JitterSeen | None) -> str:
    if found is None:
        return (
            "jitter: not told, that takes four or more passages of one part, and --reference with its length"
        )
    said = f"jitter: {_range(found.jitter, US, ' us')}, from {found.passages} passages that repeat each other"
    if found.strange:
        said += (
            "; BUT the edges do not scatter as by jitter alone, alike at all gates "
            f"(p = {found.shape_p:.2g}): the motion varies from passage to passage "
            "(name what does with --varies), or gates differ"
        )
    return said


def chatter_lines(found: ChatterSeen, step: float) -> list[str]:
    """What was seen of it, and what is doubtful; ``step`` (s) of the record."""
    per_edge = f"{found.pulses} extra pulses after {found.edges} edges"
    lines = [f"chatter: {per_edge}, {_range(found.mean_pulses, 1.0, '')} an edge"]
    if found.mean_spacing is None:
        return lines
    lines.append(
        f"chatter: {_range(found.mean_spacing, US, ' us')} from edge to edge, the longest burst "
        f"{plain(US * found.longest, 3)} us"
    )
    if found.uneven:
        word = "less" if found.dispersion < 1.0 else "more"
        lines.append(
            f"chatter: BUT its pulses are {word} uneven from edge to edge "
            f"than a Poisson distribution has them (p = {found.dispersion_p:.2g})"
        )
    if found.mean_spacing.value < 3.0 * step:
        lines.append("chatter: BUT the record is too coarse for it: pulses within one step are not seen")
    return lines


def _filters(noise: EdgeNoise) -> list[str]:
    lines = []
    if noise.made_by:
        told = _ranges(noise.made_by)
        lines.append(f"filter: the input's edges are those of {told}; every such time makes just these")
    elif noise.made_by is not None:
        lines.append(
            "filter: no filter of one time makes the input's edges of the sensors'; one that samples, "
            "a scan, or an input with a delay of its own is not told from edges here"
        )
    if noise.chatter.pulses:
        told = _ranges(noise.cleaned_by) or "none of those with one time"
        lines.append(f"filter: a part's own edges alone would pass {told}, of what this record shows")
    return lines


def _ranges(found: Sequence[FilterRange]) -> str:
    return " or ".join(f"{f.kind} of {_times(MS * f.low, MS * f.high)} ms" for f in found)


def _times(low: float, high: float) -> str:
    """A range to four digits; one number where they are the same."""
    ends = dict.fromkeys((plain(low, 4), plain(high, 4)))
    return " to ".join(ends)
