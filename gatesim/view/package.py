"""Writes the files of a hand-over: all of them or none."""

import os
import shutil
import tempfile
from pathlib import Path

from gatesim.ground.errors import InputError
from gatesim.shopfloor.handover import Handover
from gatesim.shopfloor.integer.call import call_example
from gatesim.shopfloor.integer.structuredtext import structured_text
from gatesim.shopfloor.integer.vectors import vectors_csv
from gatesim.shopfloor.sheet import sheet
from gatesim.view.sheet import sheet_html, sheet_pdf


def package(h: Handover) -> dict[str, bytes]:
    """The files by name, as bytes."""
    page = sheet(h)
    heading = f"{h.title}\nScenario {Path(h.file).name}, {h.date}"
    about = f"{heading}\nProved over {range_text(h)}\n{h.call.when}\n{h.call.before}"
    return {
        f"{h.made.program.name}.st": structured_text(h.made.program, about, h.window).encode("ascii"),
        "call_example.st": call_example(h.call, h.window, heading).encode("ascii"),
        "vectors.csv": vectors_csv(h.made, h.table).encode(),
        "proof.txt": proof_text(h).encode(),
        "commissioning.html": sheet_html(page).encode(),
        "commissioning.pdf": sheet_pdf(page),
    }


def range_text(h: Handover) -> str:
    """The stated range in words."""
    (a, b), (v, w) = h.stated.lengths, h.stated.speeds
    return f"lengths {1e3 * a:.6g} to {1e3 * b:.6g} mm, speeds {v:.4g} to {w:.4g} m/s"


def proof_text(h: Handover) -> str:
    """The interval of every value against its type, and the error that the integers add."""
    from tabulate import tabulate

    program, proof = h.made.program, h.made.proof
    rows = [
        [
            s.step.name,
            s.step.word.name,
            s.bound.low,
            s.bound.high,
            s.inner,
            s.bits_spare,
            f"{s.bound.error:.3g}",
        ]
        for s in proof.steps
    ]
    head = ["value", "type", "least", "greatest", "largest within", "bits to spare", "error"]
    verdict = "No value can overflow its type" if proof.holds else "A value may overflow"
    return "\n".join(
        [
            f"{program.name}: {program.formula}, {program.equation}",
            f"Stated range: {range_text(h)}; guards admit 2 % more at either end.",
            "",
            "Interval arithmetic from the full range of every register, narrowed by the guards, so that",
            "the result holds for whatever the counter delivers. 'largest within' includes the sum that",
            "rounds a division; 'error' bounds the distance from the same step in real numbers, in the",
            f"step's own unit (fine unit {1e3 * program.unit / h.made.fine:.6g} mm).",
            "",
            tabulate(rows, head, disable_numparse=True, colalign=("left", "left", *("right",) * 5)),
            "",
            f"{verdict}, whatever the registers hold.",
            f"Error added by the integer form: at most {1e3 * h.made.error:.4g} mm by the bound, "
            f"{1e3 * h.measured_error:.4g} mm over",
            f"the test vectors and {h.tried} simulated passages, of which {h.valid} give a valid length.",
            "Divisions round to the nearest integer, halves away from zero; the division underneath",
            "truncates towards zero, as IEC 61131-3 has it. Every divisor is proved to be at least 1.",
            "",
        ]
    )


def write_package(h: Handover, target: Path) -> list[str]:
    """Write the files into a new directory and return their names.

    They are written beside it first and moved in one step, so that nothing half-written
    is left behind. Raises InputError where the directory exists or cannot be made.
    """
    if target.exists():
        raise InputError(f"{target} exists already, expected a new directory")
    files = package(h)
    temporary = ""
    try:
        temporary = tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.parent)
        for name, content in files.items():
            Path(temporary, name).write_bytes(content)
        os.chmod(temporary, 0o755)
        os.rename(temporary, target)
    except OSError as error:
        raise InputError(f"{target} cannot be written ({error.strerror or error})") from None
    finally:
        if temporary and os.path.isdir(temporary):
            shutil.rmtree(temporary, ignore_errors=True)
    return list(files)
