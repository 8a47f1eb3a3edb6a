"""Value change dump, the four-state format of IEEE 1364-2005, clause 18.2: signals of one bit over time."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array

STEP = 1e-9
"""Time scale of what is written, in s."""

_SCALES = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "ps": 1e-12, "fs": 1e-15}
_FIRST, _LAST = 33, 126  # printable characters, of which a signal's code consists
_SKIPPED = ("$comment", "$date", "$version")


@dataclass(frozen=True)
class Signal:
    """A signal of one bit: ``time`` (k,) in s at which it takes ``high`` (k,), the first being the start."""

    time: Array
    high: tuple[bool, ...]


def written(signals: Mapping[str, Array], end: float) -> str:
    """The dump of signals that are low at 0 and change at rising times (k,) in s, rounded to `STEP`.

    ``end`` (s) closes it. A pulse within one step is left out.
    """
    codes = {name: _code(number) for number, name in enumerate(signals)}
    lines = ["$comment low is light, high is dark $end", "$timescale 1 ns $end", "$scope module rig $end"]
    lines += [f"$var wire 1 {code} {name} $end" for name, code in codes.items()]
    lines += ["$upscope $end", "$enddefinitions $end", "#0", "$dumpvars"]
    lines += [f"0{code}" for code in codes.values()] + ["$end"]
    changes: dict[int, list[str]] = {}
    for name, times in signals.items():
        steps, number = np.unique(np.rint(times / STEP).astype(np.int64), return_counts=True)
        high = False
        for step in steps[number % 2 == 1].tolist():
            high = not high
            changes.setdefault(step, []).append(f"{int(high)}{codes[name]}")
    changes.setdefault(round(end / STEP), [])
    for step in sorted(changes):
        lines += [f"#{step}", *changes[step]]
    return "\n".join(lines) + "\n"


def _code(number: int) -> str:
    size = _LAST - _FIRST + 1
    return chr(_FIRST + number % size) + (_code(number // size - 1) if number >= size else "")


def read(text: str) -> dict[str, Signal]:
    """Signals of one bit by name, with their scopes where a name is there twice.

    Raises ValueError with a reason for what is no such dump.
    """
    header, mark, body = text.partition("$enddefinitions")
    if not mark:
        raise ValueError("it has no $enddefinitions")
    scale, names = _declared(header)
    changes: dict[str, list[tuple[float, bool]]] = {code: [] for code in names}
    now = 0.0
    words = iter(body.split())
    for word in words:
        if word in _SKIPPED:
            while next(words, "$end") != "$end":
                pass
        elif word[0] == "#":
            now = _step(word[1:]) * scale
        elif word[0] in "bBrR":
            code = next(words, "")
            if code in changes and word[1:] in ("0", "1"):
                changes[code].append((now, word[1:] == "1"))
        elif word[0] in "01" and word[1:] in changes:
            changes[word[1:]].append((now, word[0] == "1"))
    return {name: _signal(changes[code]) for code, name in names.items()}


def _step(word: str) -> int:
    if not word.isdecimal():
        raise ValueError(f"the time #{word} is no whole number")
    return int(word)


def _declared(header: str) -> tuple[float, dict[str, str]]:
    """The time scale in s, and the names of the signals of one bit by their codes."""
    scale = re.search(r"\$timescale\s+(1|10|100)\s*([munpf]?s)\s+\$end", header)
    if scale is None:
        raise ValueError("it has no $timescale such as 1 ns")
    names: dict[str, str] = {}
    scopes: list[str] = []
    for found in re.finditer(r"\$(scope|upscope|var)\b(.*?)\$end", header, re.DOTALL):
        words = found[2].split()
        if found[1] == "scope":
            scopes.append(words[-1])
        elif found[1] == "upscope":
            scopes = scopes[:-1]
        elif len(words) >= 4 and words[1] == "1" and words[0] not in ("real", "realtime"):
            name = words[3]
            names[words[2]] = ".".join([*scopes, name]) if name in names.values() else name
    return int(scale[1]) * _SCALES[scale[2]], names


def _signal(changes: list[tuple[float, bool]]) -> Signal:
    kept = [c for n, c in enumerate(changes) if n == 0 or c[1] != changes[n - 1][1]]
    return Signal(np.array([time for time, _ in kept]), tuple(high for _, high in kept))
