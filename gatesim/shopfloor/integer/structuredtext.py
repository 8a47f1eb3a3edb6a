"""Prints an integer program as a function in Structured Text (IEC 61131-3, plain)."""

from gatesim.formula.integer.program import STATUS, Constant, Guard, Program, Step, Word
from gatesim.shopfloor.integer.comment import comment, comments
from gatesim.shopfloor.integer.window import Window

_OPS = {"add": "+", "subtract": "-", "multiply": "*"}


def structured_text(program: Program, heading: str = "", window: Window | None = None) -> str:
    """The function: registers in, length out in units of the program, status beside it.

    ``heading`` is a remark of several lines, such as the rig's title and date. With a
    ``window`` there is an output Accept, too: the length is valid and within it.
    """
    # Variables before constants: there are compilers that take all that follows VAR CONSTANT for constant.
    lines = [*_heading(program, heading), f"FUNCTION {program.name} : DINT"]
    lines += ["VAR_INPUT", *(declared(r.name, r.word.name, r.meaning) for r in program.registers), "END_VAR"]
    lines += ["VAR_OUTPUT", declared("Status", "INT", "0: length is valid, see above")]
    if window is not None:
        lines += [declared("Accept", "BOOL", "valid, and within the guarded acceptance limits")]
    lines += ["END_VAR", "VAR", *(declared(s.name, s.word.name) for s in program.steps), "END_VAR"]
    if program.constants:
        lines += ["VAR CONSTANT", *(_constant(c) for c in program.constants), "END_VAR"]
    lines += ["", f"{program.name} := DINT#0;"]
    if window is not None:
        lines += ["Accept := FALSE;"]
    words = {r.name: r.word for r in program.registers} | {s.name: s.word for s in program.steps}
    for line in program.lines:
        lines += _guard(line, words[line.name]) if isinstance(line, Guard) else [_step(line, program)]
    lines += ["Status := INT#0;", f"{program.name} := {program.result};"]
    if window is not None:
        lines += [f"Accept := {_within(program.result, window)};"]
    return "\n".join([*lines, "END_FUNCTION", ""])


def statuses(program: Program) -> tuple[int, ...]:
    """The statuses that the function may return, in order."""
    return tuple(sorted({0} | {line.status for line in program.lines if isinstance(line, Guard)}))


def _heading(program: Program, heading: str) -> list[str]:
    lines = [heading, f"{program.formula}: {program.equation}"]
    lines += [f"Result in units of {program.unit * 1e3:g} mm; 0 unless Status is 0."]
    for code in statuses(program):
        lines += [f"Status {code}: {STATUS[code].meaning}", f"    {STATUS[code].action}"]
    return comments(*lines)


def declared(name: str, kind: str, meaning: str = "") -> str:
    """A declaration with its comment."""
    return f"    {name} : {kind};" + (f" {comment(meaning)}" if meaning else "")


def _constant(c: Constant) -> str:
    return f"    {c.name} : {c.word.name} := {literal(c.value, c.word)}; {comment(c.meaning)}"


def literal(value: int, word: Word) -> str:
    """Typed literal, such as DINT#-5."""
    return f"{word.name}#{value}"


def _within(name: str, window: Window) -> str:
    limits = ((">=", window.low), ("<=", window.high))
    return " AND ".join(f"({name} {sign} DINT#{limit})" for sign, limit in limits if limit is not None)


def _guard(guard: Guard, word: Word) -> list[str]:
    return [
        f"IF {guard.name} {guard.relation} {literal(guard.limit, word)} THEN",
        f"    Status := INT#{guard.status};",
        "    RETURN;",
        "END_IF;",
    ]


def _step(step: Step, program: Program) -> str:
    note = f" {comment(step.note)}" if step.note else ""
    return f"{step.name} := {_expression(step, program)};{note}"


def _expression(step: Step, program: Program) -> str:
    a, b, two, zero = step.left, step.right, literal(2, step.word), literal(0, step.word)
    if step.op == "convert":
        words = {r.name: r.word for r in program.registers} | {s.name: s.word for s in program.steps}
        return f"{words[a].name}_TO_{step.word.name}({a})"
    if step.op == "divide":
        return f"({a} + {b} / {two}) / {b}"
    if step.op == "divide-signed":
        return f"({a} + SEL({a} < {zero}, {b} / {two}, -({b} / {two}))) / {b}"
    return f"{a} {_OPS[step.op]} {b}"
