"""Seeded structural mutation of the files that gatesim reads, for the fuzz tests."""

import copy
import json
import random

NASTY = [
    "",
    " ",
    "nan",
    "inf mm",
    "-1 mm",
    "0 mm",
    "1e308 m",
    "1e-300 m",
    "60mm",
    "300,5 mm",
    "1e999 mm",
    "12 parsecs",
    "5 kg",
    "5 s",
    "5 %",
    "90 deg",
    "1e9 Hz",
    "-5 Hz",
    "1 m m",
    "1 mm; rm",
    "± 3 mm",
    "5 mm ± 1 mm",
    "½ mm",
    "五 mm",
    "\x1b[31mred",
    "x" * 3000,
    0,
    -1,
    1,
    2**70,
    1e308,
    -0.0,
    1e-320,
    float("nan"),
    float("inf"),
    float("-inf"),
    True,
    False,
    [],
    {},
    [[]],
    ["a", 1],
    {"value": "5 mm"},
    {"value": "5 mm", "distribution": "normal"},
    {"value": "5 mm", "distribution": "normal", "standard_uncertainty": "1e300 m"},
    {"value": "5 mm", "distribution": "rectangular", "half_width": "0 mm"},
    {"value": "1 s", "distribution": "student-t", "standard_uncertainty": "1 ms", "degrees_of_freedom": 0.1},
    {"distribution": ["normal"]},
    {"value": ["5 mm"], "distribution": "normal"},
    {"value": {}, "distribution": {}},
]  # fmt: skip


CELLS = ["", "nan", "inf", "-1", "1e308", "abc", "1,5", "0", "99999999999", "x" * 5000, '"', "\x00"]
COLUMNS = ["dwell [1]", "reference [mm]", "length [kg]", "", "part", "time", "capture", "dwell [ms]"]


def places(table, path=()):
    """Every (container path, key) in a nested table."""
    steps = table.items() if isinstance(table, dict) else enumerate(table)
    for key, value in steps:
        yield path, key
        if isinstance(value, dict | list):
            yield from places(value, (*path, key))


def at(table, path):
    for step in path:
        table = table[step]
    return table


def _nasty(random_):
    """One of ``NASTY``, a copy: later changes of a table leave the list as it is."""
    return copy.deepcopy(random_.choice(NASTY))


def _scaled(value, random_):
    """The same quantity some powers of ten larger or smaller."""
    if isinstance(value, str):
        number, _, unit = value.partition(" ")
        try:
            return f"{float(number) * 10.0 ** random_.randint(-12, 12):.6g} {unit}"
        except ValueError:
            return _nasty(random_)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return type(value)(value * random_.choice([-1, 0, 2, 10, 1000]))
    return _nasty(random_)


def mutate(raw, random_: random.Random, donors):
    """A copy of a table with one to four things changed; ``donors`` give keys and values."""
    new = copy.deepcopy(raw)
    for _ in range(random_.choice([1, 1, 1, 2, 3, 4])):
        spots = list(places(new))
        if not spots:
            break
        path, key = random_.choice(spots)
        holder = at(new, path)
        donor = random_.choice(donors)
        other_path, other_key = random_.choice(list(places(donor)))
        given = copy.deepcopy(at(donor, other_path)[other_key])
        match random_.randrange(7):
            case 0:
                del holder[key]
            case 1:
                holder[key] = _nasty(random_)
            case 2 | 3:
                holder[key] = _scaled(holder[key], random_)
            case 4:
                holder[key] = given
            case 5 if isinstance(holder, dict):
                name = other_key if isinstance(other_key, str) else "key"
                holder[random_.choice([name, name[:-1] or "k", name + "s"])] = given
            case _ if isinstance(holder, dict) and isinstance(key, str):
                holder[random_.choice([key.upper(), key[::-1], "title"])] = holder.pop(key)
    return new


def toml_bytes(raw, random_: random.Random) -> bytes:
    """The table as a file, now and then with bytes changed."""
    content = toml(raw).encode("utf-8", "surrogatepass")
    return scrambled(content, random_) if random_.random() < 0.1 else content


def toml(table, path=()) -> str:
    """The table as TOML 1.0, plainly; tomlkit, made to keep layout, takes as long as a prediction."""
    lines = [f"{_word(k)} = {_inline(v)}" for k, v in table.items() if not isinstance(v, dict)]
    for key, value in table.items():
        if isinstance(value, dict):
            here = (*path, _word(key))
            lines += [f"[{'.'.join(here)}]", toml(value, here)]
    return "\n".join(lines)


def _word(text) -> str:
    # the escapes of JSON are those of TOML, which wants one more
    return json.dumps(str(text), ensure_ascii=False).replace("\x7f", "\\u007f")


def _inline(value) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case int() | float():
            return repr(value if isinstance(value, float) or abs(value) < 2**63 else 2**62)
        case dict():
            return f"{{{', '.join(f'{_word(k)} = {_inline(v)}' for k, v in value.items())}}}"
        case list() | tuple():
            return f"[{', '.join(map(_inline, value))}]"
        case _:
            return _word(value)


def scrambled(content: bytes, random_: random.Random) -> bytes:
    """Some bytes replaced, cut or doubled."""
    data = bytearray(content)
    for _ in range(random_.randint(1, 5)):
        if not data:
            break
        spot = random_.randrange(len(data))
        match random_.randrange(4):
            case 0:
                data[spot] = random_.randrange(256)
            case 1:
                del data[spot : spot + random_.randint(1, 40)]
            case 2:
                data[spot:spot] = data[spot : spot + random_.randint(1, 40)]
            case _:
                del data[spot:]
    return bytes(data)


def mutated_csv(text: str, random_: random.Random) -> bytes:
    """A log with cells changed, rows doubled, columns renamed or bytes scrambled."""
    rows = [line.split(",") for line in text.splitlines()]
    for _ in range(random_.randint(1, 6)):
        row = random_.choice(rows)
        match random_.randrange(6):
            case 0:
                row[random_.randrange(len(row))] = random_.choice(CELLS)
            case 1:
                rows.insert(random_.randrange(len(rows) + 1), list(row))
            case 2 if len(rows) > 2:
                rows.remove(row)
            case 3:
                rows[0][random_.randrange(len(rows[0]))] = random_.choice(COLUMNS)
            case 4 if len(row) > 1:
                row.pop()
            case _:
                row.append("1")
    content = "\n".join(",".join(row) for row in rows).encode()
    return scrambled(content, random_) if random_.random() < 0.2 else content
