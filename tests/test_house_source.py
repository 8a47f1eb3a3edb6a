"""A source of counts is one file and one line of its registry; everything else asks it."""

import json
import re

import pytest

from .house import ROOT, answers, package_with, run

# An invented source: a strip of even marks on the part itself, of which a reading head counts each.
STRIP = '''
"""Marks on a strip that the part carries."""

import math
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

import numpy as np
from pydantic import Field

from gatesim.counter.source.base import Source, SourceTable
from gatesim.ground import keys
from gatesim.ground.arrays import column
from gatesim.ground.table import TableValues


@dataclass(frozen=True)
class Strip(Source):
    """One count a mark."""

    distance: Any
    travel: Any
    counts_per_pulse: ClassVar[int] = 1

    def phase(self, draw):
        phase = draw.uniform("counter.phase")
        return np.stack([phase, np.zeros_like(phase)], axis=1)

    def progress(self, start, times, phase):
        finite = np.where(np.isfinite(times), times, start[:, None])
        counts = (self.travel(finite) - self.travel(start[:, None])) / column(self.distance)
        return np.where(np.isfinite(times), counts, np.nan)

    def whole(self, progress, phase):
        return np.floor(progress + phase[:, :1])


class StripTable(SourceTable):
    """A strip of marks on the part."""

    key: ClassVar[str] = "strip"
    beside: ClassVar = None
    purpose: ClassVar[str] = "Marks on the part are counted."
    called_for: ClassVar[str] = "a table [{key}.strip]"
    word: ClassVar[str] = "a strip of marks"
    measures: ClassVar[Literal["time", "travel"]] = "travel"

    mark_distance: keys.Length = Field(description="From one mark to the next.")

    def build(self, counter, travel) -> Strip:
        values = TableValues(counter.values, f"{counter.name}.strip")
        return Strip(values["mark_distance"], travel)

    turned_by: ClassVar = "part"
    passes_filter: ClassVar = False
    tick: ClassVar = math.nan
    counts: ClassVar = "marks"
    pulses: ClassVar = "The strip's marks"
    step: ClassVar = "a mark"
    imperfections: ClassVar = ()

    @property
    def pitch(self):
        return self.mark_distance.nominal

    @property
    def setting(self):
        return f"strip, a mark every {self.mark_distance.text}"

    def steps(self, progress):
        return np.asarray(np.mod(-progress, 1.0))
'''
LINES = (
    ("from gatesim.counter.source.clock import Clock, ClockTable\n",
     "from gatesim.counter.source.strip import StripTable\n"),
    ("    EncoderTable,\n", "    StripTable,\n"),
)  # fmt: skip


def with_strip(folder, source=STRIP):
    return package_with(folder, "counter", "source/strip.py", source, *LINES, registry="source/__init__.py")


@pytest.mark.long
def test_a_source_added_as_one_file_and_one_line_is_known_to_every_command(tmp_path):
    folder = with_strip(tmp_path)
    rig = (ROOT / "scenarios" / "2-chute-slat.toml").read_text(encoding="utf-8")
    (folder / "clock.toml").write_text(rig, encoding="utf-8")
    lines = [line for line in rig.splitlines() if not re.match(r"frequency|drift", line)]
    text = re.sub(r"\[formula\]\n(.+\n)+", "", "\n".join(lines) + "\n")
    (folder / "new.toml").write_text(f'{text}\n[counter.strip]\nmark_distance = "0.1 mm"\n', "utf-8")
    (folder / "none.toml").write_text(text, encoding="utf-8")
    found = answers(
        folder,
        "predict|new.toml|--json",
        "study|new.toml|--trials|500|--workers|1|--json",
        "explain|new.toml",
        "report|new.toml|-o|report.html",
        "trace|new.toml",
        "handover|new.toml|-o|out",
        "schema",
        "keys|counter.strip",
        "formulas",
    )
    told = json.loads(found[0])[0]
    # the part moves by its own length while gate 1 is dark, but for where the beam switches: 0.1 mm a count
    first = told["readings"][0]
    assert first["formula"] == "encoder-pitch"
    assert told["counts"]["dwell"] == pytest.approx(2400, abs=20)
    assert first["length_m"] == pytest.approx(told["counts"]["dwell"] * 1e-4, abs=1e-12)
    assert "one every a mark" in found[2] or "rounding to whole counts" in found[2]
    assert "marks" in found[4]
    assert "strip, a mark every 0.1 mm" in (folder / "out" / "commissioning.html").read_text("utf-8")
    assert '"strip"' in found[6]
    assert "mark_distance" in found[7]
    assert "counts of an encoder or a strip of marks" in re.sub(r"\s+", " ", found[8])
    missing = run(folder, "-m", "gatesim", "predict", "none.toml")
    assert missing.returncode == 2
    assert "a table [counter.encoder] or a table [counter.strip]" in missing.stderr


@pytest.mark.parametrize("left_out", ["word", "whole"])
def test_a_source_that_leaves_a_member_out_fails_when_the_package_is_imported(tmp_path, left_out):
    source = re.sub(rf"(    |def ){left_out}(:| =|\()", r"\1something_else\2", STRIP)
    assert source != STRIP
    found = run(with_strip(tmp_path, source), "-c", "import gatesim.scenario")
    assert found.returncode != 0
    assert re.search(
        rf"TypeError: Strip(Table)? in gatesim.counter.source.strip leaves out {left_out}", found.stderr
    )


def test_nobody_outside_the_counter_says_what_a_timing_is_in_its_stead():
    for path in (ROOT / "gatesim").rglob("*.py"):
        if "counter" not in path.parts and "evidence" not in path.parts:
            text = path.read_text(encoding="utf-8")
            for words in (
                "polling or interrupt",
                "hardware inputs",
                "interrupt routine",
                "once a scan",
                "scan of the",
            ):
                assert words not in text, (path, words)
