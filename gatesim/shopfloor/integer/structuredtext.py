"""Prints an integer program as a function in Structured Text (IEC 61131-3, plain)."""

from gatesim.formula.integer.program import STATUS, Constant, Guard, Program, Step, Word

_OPS = {"add": "+", "subtract": "-", "multiply": "*"}


def structured_text(program: Program, heading: str = "") -> str:
    """The function: registers in, length out in units of the program, status beside it.

    ``heading`` is a remark of several lines, such as the rig's title and date.
    """
    lines = [*_heading(program, heading), f"FUNCTION {program.name} : DINT"]
    lines += ["VAR_INPUT", *(_declared(r.name, r.word, r.meaning) for r in program.registers), "END_VAR"]
    lines += ["VAR_OUTPUT", _declared("Status", "INT", "0: length is valid, see above"), "END_VAR"]
    lines += ["VAR CONSTANT", *(_constant(c) for c in program.constants), "END_VAR"]
    lines += ["VAR", *(_declared(s.name, s.word, "") for s in program.steps), "END_VAR", ""]
    lines += [f"{program.name} := DINT#0;"]
    words = {r.name: r.word for r in program.registers} | {s.name: s.word for s in program.steps}
    for line in program.lines:
        lines += _guard(line, words[line.name]) if isinstance(line, Guard) else [_step(line, program)]
    lines += ["Status := INT#0;", f"{program.name} := {program.result};", "END_FUNCTION", ""]
    return "\n".join(lines)


_PLAIN = str.maketrans({"²": "^2", "√": "sqrt ", "µ": "u", "±": "+-", "–": "-"})


def remark(text: str) -> str:
    """Text in ASCII that cannot end the comment it stands in."""
    plain = text.translate(_PLAIN).encode("ascii", "replace").decode()
    return plain.replace("(*", "( *").replace("*)", "* )")


def _heading(program: Program, heading: str) -> list[str]:
    lines = [*heading.splitlines(), f"{program.formula}: {program.equation}"]
    lines += [f"Result in units of {program.unit * 1e3:g} mm; 0 unless Status is 0."]
    used = {0} | {line.status for line in program.lines if isinstance(line, Guard)}
    lines += [f"Status {code}: {STATUS[code]}" for code in sorted(used)]
    return [f"(* {remark(line)} *)" for line in lines if line.strip()]


def _declared(name: str, word: "Word | str", meaning: str) -> str:
    kind = word if isinstance(word, str) else word.name
    return f"    {name} : {kind};" + (f" (* {remark(meaning)} *)" if meaning else "")


def _constant(c: Constant) -> str:
    return f"    {c.name} : {c.word.name} := {literal(c.value, c.word)}; (* {remark(c.meaning)} *)"


def literal(value: int, word: Word) -> str:
    """Typed literal, such as DINT#-5."""
    return f"{word.name}#{value}"


def _guard(guard: Guard, word: Word) -> list[str]:
    return [
        f"IF {guard.name} {guard.relation} {literal(guard.limit, word)} THEN",
        f"    Status := INT#{guard.status};",
        "    RETURN;",
        "END_IF;",
    ]


def _step(step: Step, program: Program) -> str:
    note = f" (* {remark(step.note)} *)" if step.note else ""
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
