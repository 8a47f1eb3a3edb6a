"""When the controller calls the function, and a program that does it (IEC 61131-3, edition 3)."""

import math
from dataclasses import dataclass
from typing import ClassVar

from gatesim.formula import REGISTERS
from gatesim.formula.integer.program import STATUS, STUCK, Program
from gatesim.ground.data import Keys
from gatesim.shopfloor.integer.comment import comments
from gatesim.shopfloor.integer.structuredtext import declared, statuses
from gatesim.shopfloor.integer.window import Window

IN_A_ROW = 3  # parts without a length, one after the other, that are no longer chance


@dataclass(frozen=True)
class Call:
    """The moment of the call and what else the program must know of the rig.

    ``third``: whether a third gate re-arms the counter. ``longest`` (s): after it a part that
    has begun must have passed. ``room`` (s): least time in the simulated passages from the last
    register's edge to the re-arming one, NaN without a third gate.
    """

    program: Program
    third: bool
    longest: float
    room: float

    KEYS: ClassVar[Keys] = {
        "program": None,
        "registers": "registers",
        "when": "when",
        "before": "before",
        "by_program": "rearmed_by_program",
        "third": "third_gate",
        "longest": "longest_s",
        "room": "time_to_read_s",
    }

    @property
    def registers(self) -> tuple[str, ...]:
        """Names of the registers."""
        return tuple(register.name for register in self.program.registers)

    @property
    def by_program(self) -> bool:
        """Whether the program must re-arm: no gate does, or one that latches a register by the same edge."""
        return not self.third or any(REGISTERS[name].gate == 3 for name in self.registers)

    @property
    def when(self) -> str:
        """After which edges, in words."""
        last: dict[int, bool] = {}  # of each gate the later edge
        for name in self.registers:
            latch = REGISTERS[name]
            light = last.get(latch.gate, False) or not latch.dark
            last[latch.gate] = light
        edges = [f"gate {g} {'is light again' if light else 'has gone dark'}" for g, light in last.items()]
        said = edges[0] if len(edges) == 1 else f"{', '.join(edges[:-1])} and {edges[-1]}"
        return f"Call it once a part, as soon as {said}, or when that takes longer than {self.late}."

    @property
    def late(self) -> str:
        """The longest passage in words."""
        return f"{math.ceil(1e3 * self.longest)} ms"

    @property
    def before(self) -> str:
        """What must have happened by when, in words."""
        clears = "Re-arming clears the registers: read them and call the function before it."
        if not self.third:
            return f"{clears} No gate re-arms this rig, so the program does, after the call."
        if self.by_program:
            return (
                f"{clears} The edge that re-arms, gate 3 going dark, latches third_capture too, so the "
                "counter must hold its registers until the program, after the call, lets it re-arm."
            )
        room = f"{1e3 * self.room:.3g} ms" if self.room > 0.0 else "no time"
        return (
            f"{clears} Gate 3 going dark re-arms; that leaves {room} at least in the simulated passages, so "
            "the program's cycle must be shorter."
        )


def call_example(call: Call, window: Window | None, heading: str = "") -> str:
    """A program that calls the function once a part, and sorts the parts."""
    name, words = call.program.name, {r.name: r.word.name for r in call.program.registers}
    inputs = [declared("gate_1_dark", "BOOL", "gate 1, after its input filter")]
    if "rear_capture" in words:
        inputs += [declared("gate_2_dark", "BOOL", "gate 2, after its input filter")]
    inputs += [declared("cleared", "BOOL", "someone has looked and cleared the path")]
    inputs += [declared(r, word, "0 until its edge, and again when re-armed") for r, word in words.items()]
    outputs = [
        declared("length", "DINT", f"in units of {1e3 * call.program.unit:g} mm; 0 without one"),
        declared("status", "INT", "of the function; 0 where length is valid"),
        declared("accept_part", "BOOL"),
        declared("reject_part", "BOOL"),
        declared("stop_feed", "BOOL", "until cleared; a request of the process, no safety function"),
        declared("call_maintenance", "BOOL", f"{IN_A_ROW} parts in a row without a length"),
        declared("rearm", "BOOL", "to the counter"),
    ]
    kinds = {"begun": "BOOL", "ready": "BOOL", "done": "BOOL", "late": "TON", "faults": "INT"}
    lines = comments(heading, "An example of the call: fit its inputs and outputs to the controller.")
    lines += [*comments(call.when, call.before), "PROGRAM Measure_part"]
    lines += ["VAR_INPUT", *inputs, "END_VAR", "VAR_OUTPUT", *outputs, "END_VAR"]
    lines += ["VAR", *(declared(key, kind) for key, kind in kinds.items()), "END_VAR", ""]
    return "\n".join([*lines, *_body(call, window, name, words), "END_PROGRAM", ""])


def _body(call: Call, window: Window | None, name: str, words: dict[str, str]) -> list[str]:
    zero = {register: f"{word}#0" for register, word in words.items()}
    waits = ["NOT gate_1_dark"] + (["NOT gate_2_dark"] if "rear_capture" in words else [])
    waits += [f"({register} > {none})" for register, none in zero.items()]
    given = [f"{register} := {register}" for register in words] + ["Status => status"]
    given += ["Accept => accept_part"] if window is not None else []
    stops = [f"(status = INT#{code})" for code in statuses(call.program) if STATUS[code].stops]
    return [
        f"begun := gate_1_dark OR (dwell > {zero['dwell']});",
        "IF cleared THEN",
        "    stop_feed := FALSE;",
        "    call_maintenance := FALSE;",
        "    faults := INT#0;",
        "END_IF;",
        "IF NOT begun THEN",
        "    done := FALSE; (* re-armed: wait for the next part *)",
        "END_IF;",
        f"ready := {' AND '.join(waits)};",
        f"late(IN := begun AND NOT done, PT := T#{math.ceil(1e3 * call.longest)}ms);",
        "IF begun AND NOT done AND (ready OR late.Q) THEN",
        f"    length := {name}(",
        *(f"        {argument}," for argument in given[:-1]),
        f"        {given[-1]});",
        *([] if window is not None else ["    accept_part := status = INT#0; (* no limits are stated *)"]),
        "    IF gate_1_dark THEN (* too late, and still dark: whatever was latched is no passage *)",
        "        length := DINT#0;",
        f"        status := INT#{STUCK};",
        "        accept_part := FALSE;",
        "    END_IF;",
        "    reject_part := NOT accept_part;",
        f"    IF {' OR '.join(stops)} THEN",
        "        stop_feed := TRUE;",
        "    END_IF;",
        "    IF status = INT#0 THEN",
        "        faults := INT#0;",
        f"    ELSIF faults < INT#{IN_A_ROW} THEN",
        "        faults := faults + INT#1;",
        "    END_IF;",
        f"    IF faults >= INT#{IN_A_ROW} THEN",
        "        call_maintenance := TRUE;",
        "    END_IF;",
        "    done := TRUE;",
        "END_IF;",
        f"rearm := {'done OR cleared' if call.by_program else 'cleared'};",
    ]
