"""What of a drawn rig can be taken hold of, and which quantities follow."""

from typing import Any

from gatesim.scenario.model import Scenario
from gatesim.view.riggeometry import RigGeometry

Json = dict[str, Any]


def handles(scenario: Scenario, rig: RigGeometry) -> list[Json]:
    """Each with its place along the path (m), and the quantities that change by ``sign`` times its travel.

    ``on``: path, part (from the leading end) or release. ``short``: its name on the drawing, where gates
    have their numbers.
    """
    names = zip(scenario.gate_positions, rig.gates, strict=True)
    found = [
        _handle(f"gate {n}", "", "path", at, f"gate.{key}") for n, (key, at) in enumerate(names, start=1)
    ]
    part = ("trailing end of the part", "length", "part", -rig.length, "part.length")
    found.append(_handle(*part, sign=-1))
    shifted = ["gate.first"]
    for force in scenario.forces:
        drawn = force.drawn()
        if drawn is None:
            continue
        end = rig.end if drawn.end is None else drawn.end
        if drawn.start_key:
            path = f"{force.key}.{drawn.start_key}"
            found.append(_handle(f"start of the {force.key}", "start", "path", drawn.start, path))
            shifted.append(path)
        if drawn.end_key:
            path = f"{force.key}.{drawn.end_key}"
            found.append(_handle(f"end of the {force.key}", "end", "path", end, path))
    release = {"name": "point of release", "short": "release", "on": "release", "at": 0.0}
    found.append({**release, "moves": [{"path": path, "sign": -1} for path in shifted]})
    return found


def _handle(name: str, short: str, on: str, at: float, path: str, sign: int = 1) -> Json:
    return {"name": name, "short": short, "on": on, "at": at, "moves": [{"path": path, "sign": sign}]}
