"""A small interpreter of Structured Text functions, written from the language, not from gatesim.

Covers what a plain integer function needs: declarations, assignments, IF with RETURN,
typed literals, the four operations, AND, SEL, ABS and type conversions of IEC 61131-3. It is
strict: operands must have one type, and a value outside its type is an error.
"""

import contextlib
from dataclasses import dataclass, field

from lark import Lark, Tree

GRAMMAR = r"""
function: "FUNCTION" NAME ":" NAME block* statement* "END_FUNCTION"
block: "VAR_INPUT" declaration* "END_VAR" -> input
     | "VAR_OUTPUT" declaration* "END_VAR" -> output
     | "VAR" "CONSTANT" declaration* "END_VAR" -> constant
     | "VAR" declaration* "END_VAR" -> local
declaration: NAME ":" NAME (":=" expression)? ";"
?statement: NAME ":=" expression ";" -> assign
          | "IF" expression "THEN" statement* "END_IF" ";" -> if_
          | "RETURN" ";" -> return_
?expression: test | expression AND test -> binary
?test: sum | sum COMPARISON sum -> compare
?sum: product | sum ADD product -> binary
?product: unary | product MUL unary -> binary
?unary: "-" unary -> negative | atom
?atom: LITERAL -> literal | NAME -> variable | NAME "(" expression ("," expression)* ")" -> call
     | "(" expression ")" | TRUTH -> truth
TRUTH.2: "TRUE" | "FALSE"
AND: "AND"
COMPARISON: "<=" | ">=" | "<>" | "<" | ">" | "="
ADD: "+" | "-"
MUL: "*" | "/"
LITERAL: /[A-Z]+#-?[0-9]+/
NAME: /[A-Za-z_][A-Za-z0-9_]*/
COMMENT: /\(\*(.|\n)*?\*\)/
%import common.WS
%ignore WS
%ignore COMMENT
"""
PARSER = Lark(GRAMMAR, start="function", parser="earley")

RANGES = {
    **{f"{p}INT": (-(2 ** (b - 1)), 2 ** (b - 1) - 1) for p, b in (("S", 8), ("", 16), ("D", 32), ("L", 64))},
    **{f"U{p}INT": (0, 2**b - 1) for p, b in (("S", 8), ("", 16), ("D", 32), ("L", 64))},
}


class Fault(Exception):
    """Overflow, division by zero, a type that does not match, an unknown or twice-used name."""


class _Return(Exception):
    pass


@dataclass
class Function:
    """A parsed function; call it with keyword arguments, get (result, outputs)."""

    name: str
    kind: str
    inputs: dict[str, str] = field(default_factory=dict)
    outputs: dict[str, str] = field(default_factory=dict)
    kinds: dict[str, str] = field(default_factory=dict)
    constants: dict[str, Tree] = field(default_factory=dict)
    body: list[Tree] = field(default_factory=list)

    def __call__(self, **arguments: int) -> tuple[int, dict[str, int]]:
        values: dict[str, int] = {}
        for name, tree in self.constants.items():
            self._store(values, name, self._value(tree, values))
        if set(arguments) != set(self.inputs):
            raise Fault(f"arguments {sorted(arguments)}, expected {sorted(self.inputs)}")
        for name, value in arguments.items():
            self._store(values, name.upper(), (value, self.kinds[name.upper()]))
        with contextlib.suppress(_Return):
            self._run(self.body, values)
        return values[self.name.upper()], {name: values[name.upper()] for name in self.outputs}

    def _run(self, statements: list[Tree], values: dict[str, int]) -> None:
        for statement in statements:
            if statement.data == "assign":
                name, tree = statement.children
                if name.upper() in self.constants or name in self.inputs:
                    raise Fault(f"{name} cannot be assigned")
                self._store(values, name.upper(), self._value(tree, values))
            elif statement.data == "if_":
                test, *inner = statement.children
                value, kind = self._value(test, values)
                if kind != "BOOL":
                    raise Fault("IF needs a BOOL")
                if value:
                    self._run(inner, values)
            else:
                raise _Return

    def _store(self, values: dict[str, int], name: str, typed: tuple[int, str]) -> None:
        if name not in self.kinds:
            raise Fault(f"{name} is not declared")
        if typed[1] != self.kinds[name]:
            raise Fault(f"{typed[1]} assigned to {name} : {self.kinds[name]}")
        values[name] = _checked(*typed)[0]

    def _value(self, tree: Tree, values: dict[str, int]) -> tuple[int, str]:
        kind, parts = tree.data, tree.children
        if kind == "literal":
            word, number = parts[0].split("#")
            return _checked(int(number), word)
        if kind == "truth":
            return int(parts[0] == "TRUE"), "BOOL"
        if kind == "variable":
            name = parts[0].upper()
            if name not in values:
                raise Fault(f"{name} is read before it is written")
            return values[name], self.kinds[name]
        if kind == "negative":
            value, word = self._value(parts[0], values)
            return _checked(-value, word)
        if kind == "call":
            return _call(parts[0].upper(), [self._value(p, values) for p in parts[1:]])
        left, sign, right = parts
        return _operate(str(sign), self._value(left, values), self._value(right, values))


def _checked(value: int, word: str) -> tuple[int, str]:
    low, high = (0, 1) if word == "BOOL" else RANGES[word]
    if not low <= value <= high:
        raise Fault(f"{value} overflows {word}")
    return value, word


def _operate(sign: str, a: tuple[int, str], b: tuple[int, str]) -> tuple[int, str]:
    if a[1] != b[1]:
        raise Fault(f"{a[1]} {sign} {b[1]}")
    x, y = a[0], b[0]
    if sign == "AND":
        if a[1] != "BOOL":
            raise Fault("AND needs two BOOL")
        return x & y, "BOOL"
    tests = {"<": x < y, ">": x > y, "=": x == y, "<=": x <= y, ">=": x >= y, "<>": x != y}
    if sign in tests:
        return int(tests[sign]), "BOOL"
    if sign == "/":
        if y == 0:
            raise Fault("division by zero")
        quotient, remainder = divmod(x, y)  # floors; IEC 61131-3 truncates
        return _checked(quotient + 1 if remainder and (x < 0) != (y < 0) else quotient, a[1])
    return _checked({"+": x + y, "-": x - y, "*": x * y}[sign], a[1])


def _call(name: str, arguments: list[tuple[int, str]]) -> tuple[int, str]:
    if name == "SEL":
        (gate, kind), no, yes = arguments
        if kind != "BOOL" or no[1] != yes[1]:
            raise Fault("SEL needs a BOOL and two values of one type")
        return yes if gate else no
    if name == "ABS":
        return _checked(abs(arguments[0][0]), arguments[0][1])
    source, found, target = name.partition("_TO_")
    if not found or arguments[0][1] != source or target not in RANGES:
        raise Fault(f"no function {name}({arguments[0][1]})")
    return _checked(arguments[0][0], target)


def parse(text: str) -> Function:
    """Parse one function. Names are one whatever their case, as in the language."""
    tree = PARSER.parse(text)
    name, kind, *rest = tree.children
    function = Function(str(name), str(kind), kinds={name.upper(): str(kind)})
    for part in rest:
        assert isinstance(part, Tree)
        if part.data not in ("input", "output", "constant", "local"):
            function.body.append(part)
            continue
        for declaration in part.children:
            own, word, *value = (c for c in declaration.children if c is not None)
            if own.upper() in function.kinds:
                raise Fault(f"{own} is declared twice")
            function.kinds[own.upper()] = str(word)
            if part.data == "input":
                function.inputs[str(own)] = str(word)
            elif part.data == "output":
                function.outputs[str(own)] = str(word)
            elif part.data == "constant":
                function.constants[own.upper()] = value[0]
    return function
