"""Passages in a record of edges as text."""

import numpy as np
from tabulate import tabulate

from gatesim.shopfloor.edges.chatter import ChatterSeen
from gatesim.shopfloor.edges.cut import step_of
from gatesim.shopfloor.edgetimes import Record, spread
from gatesim.view.edgefittext import chatter_lines

MS = 1e3
MOST = 20


def edges_text(edges: Record, chatter: ChatterSeen | None) -> str:
    """What was found, a row a gate of the first passages, and mean and range over all of them."""
    gates = ", ".join(f"gate {gate} = {name}" for gate, name in edges.channels.items())
    lines = [f"{edges.file}: {gates}; {len(edges.passages)} passages, cut where all gates were light for "
             f"{MS * edges.quiet:g} ms"]  # fmt: skip
    rows = []
    for number, passage in enumerate(edges.passages[:MOST], start=1):
        for gate, seen in passage.items():
            delays = [
                f"{MS * (seen.front - passage[1].front):.4f}",
                f"{MS * (seen.rear - passage[1].rear):.4f}",
            ]
            after = delays if 1 in passage else ["-", "-"]
            rows.append(
                [number, gate, f"{MS * seen.front:.4f}", f"{MS * seen.dwell:.4f}", *after, seen.extra]
            )
    heads = ["passage", "gate", "dark at ms", "dwell ms", "front after gate 1 ms", "rear after gate 1 ms",
             "extra edges"]  # fmt: skip
    lines += ["", tabulate(rows, heads, disable_numparse=True, stralign="right"), ""]
    if len(edges.passages) > MOST:
        lines += [f"The first {MOST} of {len(edges.passages)} passages are shown; --json has all.", ""]
    for gate in edges.channels:
        seen_here = [passage[gate] for passage in edges.passages if gate in passage]
        if not seen_here:
            lines.append(f"gate {gate}: never dark and light again: see --dark and --quiet")
            continue
        mean, low, high = (MS * value for value in spread([seen.dwell for seen in seen_here]))
        extra = sum(seen.extra for seen in seen_here)
        missed = len(edges.passages) - len(seen_here)
        lines.append(
            f"gate {gate}: dwell {mean:.4f} ms on average ({low:.4f} to {high:.4f} ms), {extra} extra edges"
            + (f", not seen in {missed} passages" if missed else "")
        )
    if chatter is not None and chatter.pulses:
        stamps = np.array([t for passage in edges.passages for seen in passage.values() for t in seen.edges])
        lines += chatter_lines(chatter, step_of(stamps))
    return "\n".join(lines)
