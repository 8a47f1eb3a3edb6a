"""The reference of a file format as text."""

from collections.abc import Sequence
from textwrap import fill, indent

from gatesim.scenario.reference import TableEntry

WIDTH = 100

LEAST = """\
[part]
length = "120 mm"

[path]
slope = "30 deg"

[gate]
first = "300 mm"
spacing = "60 mm"

[counter]
frequency = "100 kHz"
"""
"""About the least that a scenario can state."""

VALUES = f"""\
A scenario is a text file (TOML): tables, each begun by its name in brackets, with a key = value a line:
{indent(LEAST, "  ")}
A table within a table has its own line, such as [sensor.beam], or stands in braces at its key,
  beam = {{ ... }}
Where a table below is there twice, by a key such as shape, that key picks which one it is.

A physical value is text with a unit, such as "120 mm": any SI unit with any SI prefix, in, ft, lb, min, h,
deg, turn, %, ppm, and products such as m/s^2. A plain number has none: 0.25. A value that is not known
exactly is a table with a distribution (JCGM 101:2008, 6.4):
  spacing = {{ value = "50 mm", distribution = "normal", standard_uncertainty = "0.03 mm" }}
  normal                            standard_uncertainty
  rectangular, triangular, arcsine  half_width, or standard_uncertainty
  trapezoidal                       half_width, or standard_uncertainty; top_ratio from 0 to 1
  student-t                         standard_uncertainty, degrees_of_freedom
It is drawn once a rig, part or passage as "drawn per" says below, or as per = "rig", "part" or "passage" in
that table says. A key marked * is needed, in a table that is stated.
"""


def keys_text(tables: Sequence[TableEntry], whole: bool) -> str:
    """The tables one below the other; with how values are written where it is the ``whole`` format."""
    parts = [VALUES] if whole else []
    return "\n".join([*parts, *(_table(table) for table in tables)]).rstrip("\n")


def _table(table: TableEntry) -> str:
    name = ", ".join(f"[{path}]" for path in (table.path, *table.also)) if table.path else "top of the file"
    head = f"{name}  {table.choice}".rstrip()
    lines = [head, _indented(table.meaning, 2)]
    if table.drawing:
        lines += ["", *(f"    {line}".rstrip() for line in table.drawing.strip("\n").split("\n")), ""]
    for entry in table.keys:
        mark = "" if entry.default else " *"
        taken = f"; left out: {entry.default}" if entry.default not in ("", "-") else ""
        per = f"; drawn per {entry.per}" if entry.per else ""
        lines.append(_indented(f"{entry.key}{mark} = {entry.takes}{taken}{per}", 2, 6))
        if entry.meaning:
            lines.append(_indented(entry.meaning, 8))
    return "\n".join(lines) + "\n"


def _indented(text: str, by: int, further: int | None = None) -> str:
    rest = by if further is None else further
    return fill(text, WIDTH, initial_indent=" " * by, subsequent_indent=" " * rest, break_on_hyphens=False)
