"""Interval arithmetic on an integer program: proof of no overflow, and bound of the error.

The guards stand first, so the intervals start from the full range of each register: what
is proved holds for whatever the counter may deliver.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from gatesim.formula.integer.machine import truncated
from gatesim.formula.integer.program import Guard, Program, Step, Word


@dataclass(frozen=True)
class Bound:
    """Least and greatest value, and the largest distance from the same program in real numbers."""

    low: int
    high: int
    error: float = 0.0

    @property
    def size(self) -> int:
        """Largest absolute value."""
        return max(abs(self.low), abs(self.high))


@dataclass(frozen=True)
class StepBound:
    """Bound of a step's result and of the largest value within it, ``inner``, against its type."""

    step: Step
    bound: Bound
    inner: int

    @property
    def fits(self) -> bool:
        """No value of the step can overflow."""
        word = self.step.word
        return word.holds(self.bound.low) and word.holds(self.bound.high) and self.inner <= word.high

    @property
    def bits_spare(self) -> int:
        """Bits of the type that are never used."""
        return self.step.word.bits - (1 if self.step.word.signed else 0) - self.inner.bit_length()


class NotProved(ValueError):
    """A divisor that may be zero or negative, or a dividend that may be negative."""


def apply(step: Step, known: dict[str, Bound]) -> StepBound:
    """Bound one step from the bounds of its operands. Raises NotProved."""
    a = known[step.left]
    if step.op == "convert":
        return StepBound(step, a, a.size)
    b = known[step.right]
    if step.op in ("divide", "divide-signed"):
        return _divide(step, a, b)
    if step.op == "multiply":
        corners = [x * y for x in (a.low, a.high) for y in (b.low, b.high)]
        error = a.size * b.error + b.size * a.error + a.error * b.error
        bound = Bound(min(corners), max(corners), error)
    elif step.op == "add":
        bound = Bound(a.low + b.low, a.high + b.high, a.error + b.error)
    else:
        bound = Bound(a.low - b.high, a.high - b.low, a.error + b.error)
    return StepBound(step, bound, bound.size)


def _divide(step: Step, a: Bound, b: Bound) -> StepBound:
    if b.low < 1 or b.low <= b.error:
        raise NotProved(f"{step.name}: the divisor {step.right} may be as low as {b.low}")
    if step.op == "divide" and a.low < 0:
        raise NotProved(f"{step.name}: the dividend {step.left} may be as low as {a.low}")
    quotients = [_rounded(x, y) for x in (a.low, a.high) for y in (b.low, b.high)]
    # Between integer and real quotient: |a/b - a'/b'| <= (|a/b| |b - b'| + |a - a'|) / b', and rounding.
    error = (a.size / b.low * b.error + a.error) / (b.low - b.error) + 0.5
    return StepBound(step, Bound(min(quotients), max(quotients), error), a.size + b.high // 2)


def _rounded(a: int, b: int) -> int:
    return truncated(a + (b // 2 if a >= 0 else -(b // 2)), b)


def narrowed(guard: Guard, bound: Bound) -> Bound:
    """What a guard lets through."""
    if guard.relation == "<":
        return Bound(max(bound.low, guard.limit), bound.high, bound.error)
    return Bound(bound.low, min(bound.high, guard.limit), bound.error)


@dataclass(frozen=True)
class Proof:
    """Bounds of all steps; ``error`` bounds the distance of the result from the real formula.

    ``error`` is in units of the result and holds for every input that passes the guards.
    """

    steps: tuple[StepBound, ...]
    result: Bound

    @property
    def holds(self) -> bool:
        """No intermediate value can overflow, whatever the registers hold."""
        return all(step.fits for step in self.steps)


def prove(program: Program) -> Proof:
    """Bound every value of a program. Raises NotProved where a division is not safe."""
    known = {r.name: full(r.word) for r in program.registers}
    for c in program.constants:
        known[c.name] = Bound(c.value, c.value, abs(c.value - c.exact))
    found = tuple(_walk(program, known))
    return Proof(found, known[program.result])


def _walk(program: Program, known: dict[str, Bound]) -> Iterator[StepBound]:
    for line in program.lines:
        if isinstance(line, Guard):
            known[line.name] = narrowed(line, known[line.name])
        else:
            step = apply(line, known)
            known[line.name] = step.bound
            yield step


def full(word: Word) -> Bound:
    """Every value of a type."""
    return Bound(word.low, word.high)
