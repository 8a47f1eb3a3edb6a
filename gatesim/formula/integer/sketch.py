"""Writes an integer program line by line, keeping the bounds of every value at hand."""

import math
from dataclasses import dataclass, field
from typing import Literal

from gatesim.formula.integer.bounds import Bound, NotProved, apply, full, narrowed
from gatesim.formula.integer.program import Constant, Guard, Op, Program, Register, Step, Word


class TooWide(ValueError):
    """A value does not fit the word; ``bits`` is what it would need."""

    def __init__(self, name: str, bits: int) -> None:
        super().__init__(f"{name} needs {bits} bits")
        self.bits = bits


@dataclass
class Sketch:
    """A program being written, all steps in ``word``. Raises TooWide where a value may not fit."""

    word: Word
    registers: list[Register] = field(default_factory=list)
    constants: list[Constant] = field(default_factory=list)
    lines: list[Step | Guard] = field(default_factory=list)
    bounds: dict[str, Bound] = field(default_factory=dict)

    def register(self, name: str, word: Word, meaning: str) -> str:
        """An input; it must be guarded before `convert`."""
        self.registers.append(Register(name, word, meaning))
        self.bounds[name] = full(word)
        return name

    def constant(self, name: str, exact: float, meaning: str) -> str:
        """A real number rounded to an integer of the word."""
        value = round(exact)
        if not self.word.holds(value):
            raise TooWide(name, abs(value).bit_length() + 1)
        self.constants.append(Constant(name, self.word, value, exact, meaning))
        self.bounds[name] = Bound(value, value, abs(value - exact))
        return name

    def guard(self, name: str, relation: Literal["<", ">"], limit: int, status: int) -> None:
        """Refuse values beyond the limit; nothing is written where none can be."""
        guard = Guard(name, relation, limit, status)
        bound = self.bounds[name]
        if guard.trips(bound.low) or guard.trips(bound.high):
            self.lines.append(guard)
            self.bounds[name] = narrowed(guard, bound)

    def step(
        self, name: str, op: Op, left: str, right: str = "", note: str = "", word: Word | None = None
    ) -> str:
        """One operation; "divide" becomes signed where the dividend may be negative."""
        if op == "divide" and self.bounds[left].low < 0:
            op = "divide-signed"
        line = Step(name, word or self.word, op, left, right, note)
        found = apply(line, self.bounds)
        if not found.fits:
            raise TooWide(name, found.inner.bit_length() + 1)
        self.lines.append(line)
        self.bounds[name] = found.bound
        return name

    def scaled(self, name: str, factor: float, operand: str, meaning: str) -> tuple[str, str]:
        """Multiply ``operand`` by ``factor`` as integer over a power of two: dividend and divisor."""
        power = self.power(self.word.high // self.size(operand) // 2, abs(factor))
        self.constant(name, factor * (1 << power), f"{meaning}, times {name}_OVER")
        self.constant(f"{name}_OVER", float(1 << power), f"two to the power of {power}")
        return self.step(f"{name.lower()}_n", "multiply", name, operand), f"{name}_OVER"

    @staticmethod
    def power(room: int, size: float) -> int:
        """The largest power of two, up to 2^30, by which ``size`` may be scaled within ``room``."""
        if size == 0.0 or room < 1:
            return 0
        return max(0, min(30, math.floor(math.log2(room / size)) - 1))

    def size(self, name: str) -> int:
        """Largest absolute value that ``name`` may have."""
        return max(self.bounds[name].size, 1)

    def program(self, name: str, formula: str, equation: str, result: str, unit: float) -> Program:
        """The finished program."""
        return Program(
            name,
            formula,
            equation,
            tuple(self.registers),
            tuple(self.constants),
            tuple(self.lines),
            result,
            unit,
        )


__all__ = ["NotProved", "Sketch", "TooWide"]
