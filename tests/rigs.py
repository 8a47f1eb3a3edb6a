"""Rigs for tests: a plain one as TOML text, and a way to change a line of it."""

from gatesim.scenario import Scenario, parse_text

PLAIN = """
[part]
length = "170 mm"
mass = "0.2 kg"

[path]
slope = "30 deg"

[gate]
first = "400 mm"
spacing = "50 mm"

[counter]
frequency = "100 kHz"
"""


def rig(extra: str = "", **lines: str) -> Scenario:
    """The plain rig with tables appended, and with lines of it replaced by key."""
    text = PLAIN
    for key, value in lines.items():
        start = text.index(f"\n{key} =")
        end = text.index("\n", start + 1)
        text = text[:start] + f"\n{key} = {value}" + text[end:]
    return parse_text(text + extra, "rig.toml")
