"""Runs an integer program with the arithmetic of the controller."""

from collections.abc import Mapping
from dataclasses import dataclass

from gatesim.formula.integer.program import OK, Guard, Program, Step


@dataclass(frozen=True)
class Run:
    """What the function returns: ``length`` in units of the program, 0 unless ``status`` is 0.

    ``overflow`` names the step whose value did not fit its type, or nothing. The value is
    then wrapped, as most controllers do (IEC 61131-3 leaves it to the implementer).
    """

    length: int
    status: int
    overflow: str = ""


def run(program: Program, registers: Mapping[str, int]) -> Run:
    """Run the program on register values.

    Raises KeyError without a register, ValueError with a value its type cannot hold.
    """
    values = {c.name: c.value for c in program.constants}
    for register in program.registers:
        value = registers[register.name]
        if not register.word.holds(value):
            raise ValueError(f"{register.name} = {value} is no {register.word.name}")
        values[register.name] = value
    overflow = ""
    for line in program.lines:
        if isinstance(line, Guard):
            if line.trips(values[line.name]):
                return Run(0, line.status, overflow)
            continue
        for value in partial_values(line, values):
            if not line.word.holds(value):
                overflow = overflow or line.name
        values[line.name] = line.word.wrap(partial_values(line, values)[-1])
    return Run(values[program.result], OK, overflow)


def partial_values(step: Step, values: Mapping[str, int]) -> tuple[int, ...]:
    """Every value that arises within a step, its result last; each must fit the type."""
    a = values[step.left]
    if step.op == "convert":
        return (a,)
    b = values[step.right]
    if step.op == "add":
        return (a + b,)
    if step.op == "subtract":
        return (a - b,)
    if step.op == "multiply":
        return (a * b,)
    half = -(truncated(b, 2)) if step.op == "divide-signed" and a < 0 else truncated(b, 2)
    raised = step.word.wrap(a + half)
    return (a + half, truncated(raised, b))


def truncated(a: int, b: int) -> int:
    """Integer division of IEC 61131-3: truncates towards zero."""
    quotient = abs(a) // abs(b)
    return quotient if (a < 0) == (b < 0) else -quotient
