"""Every key of a scenario with what a person needs to change it, from the tables' own descriptions."""

import inspect
import math
import re
from collections.abc import Iterator
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from gatesim.ground.family import Family
from gatesim.ground.keys import Reader
from gatesim.ground.quantity import Quantity, parse
from gatesim.scenario.model import Scenario
from gatesim.view.bench.patch import plain

Json = dict[str, Any]
REACH = 4.0
"""A slider goes so many times as far as the value was when it was made."""
LEFT_OUT = ("title", "note", "use", "correlation", "fitted")


def groups(scenario: Scenario) -> list[Json]:
    """The tables of a scenario, each with its fields; those left out with what adds them."""
    return list(_groups(scenario, "", plain(scenario.raw)))


def _groups(model: BaseModel, prefix: str, raw: Any) -> Iterator[Json]:
    own, inner = [], []
    for key, info in type(model).model_fields.items():
        path, value = f"{prefix}{key}", getattr(model, key)
        given = raw.get(key) if isinstance(raw, dict) else None
        if key in LEFT_OUT:
            continue
        tables = _tables(info)
        if isinstance(value, BaseModel):
            inner += _inner(value, path, info, given)
        elif isinstance(value, tuple):
            for number, item in enumerate(value, start=1):
                if isinstance(item, BaseModel):
                    inner += _groups(item, f"{path}.{number}.", given[number - 1] if given else None)
        elif tables:
            inner.append(_absent(path, tables, info))
        else:
            field = _field(path, key, info, value, given)
            own += [] if field is None else [field]
    if prefix:
        yield {"path": prefix[:-1], "about": _about(type(model)), "fields": own, "given": raw is not None}
    yield from inner


def _inner(value: BaseModel, path: str, info: FieldInfo, given: Any) -> list[Json]:
    found = list(_groups(value, f"{path}.", given))
    families = [item for item in info.metadata if isinstance(item, Family)]
    for family in families:
        members = {_kind(member, family.tag): member for member in family.members}
        kinds = {kind: {family.tag: kind, **_example(member)} for kind, member in members.items()}
        now = getattr(value, family.tag)
        found[0]["fields"] = [f for f in found[0]["fields"] if f["path"] != f"{path}.{family.tag}"]
        found[0]["kind"] = {"path": path, "key": family.tag, "now": now, "kinds": kinds}
    if not info.is_required():
        found[0]["removable"] = given is not None
    return found


def _absent(path: str, tables: list[type[BaseModel]], info: FieldInfo) -> Json:
    table = tables[0]
    families = [item for item in _all(info) if isinstance(item, Family)]
    tags = {family.tag: _kind(table, family.tag) for family in families}
    return {
        "path": path,
        "about": info.description or _about(table),
        "fields": [],
        "given": False,
        "example": {**tags, **_example(table)},
    }


def _kind(member: type[BaseModel], tag: str) -> str:
    return str(get_args(member.model_fields[tag].annotation)[0])


def _about(model: type[BaseModel]) -> str:
    return (inspect.getdoc(model) or "").split("\n\n")[0].replace("\n", " ")


def _example(model: type[BaseModel]) -> Json:
    """Values for the keys that a table must have, as its own error messages suggest them."""
    found = {}
    for key, info in model.model_fields.items():
        reader = _reader(info)
        if info.is_required() and reader is not None:
            found[key] = _example_of(reader)
    return found


def _example_of(reader: Reader) -> str | float:
    texts = re.findall(r'"([^"]+)"', reader.expected)
    return texts[0] if texts else float(re.findall(r"[\d.]+$", reader.expected)[0])


def _parts(annotation: Any) -> Iterator[Any]:
    yield annotation
    if get_origin(annotation) is not Literal:
        for inner in get_args(annotation):
            yield from _parts(inner)


def _all(info: FieldInfo) -> Iterator[Any]:
    for part in (info.annotation, *info.metadata):
        yield from _parts(part)


def _reader(info: FieldInfo) -> Reader | None:
    return next((part for part in _all(info) if isinstance(part, Reader)), None)


def _tables(info: FieldInfo) -> list[type[BaseModel]]:
    found: list[type[BaseModel]] = []
    for part in _all(info):
        if isinstance(part, Family):
            found += part.members
        elif isinstance(part, type) and issubclass(part, BaseModel) and not inspect.isabstract(part):
            found.append(part)
    return found


def _field(path: str, key: str, info: FieldInfo, value: Any, given: Any) -> Json | None:
    reader = _reader(info)
    field = {
        "path": path,
        "name": key.replace("_", " "),
        "about": info.description or "",
        "given": given is not None,
    }
    if reader is not None:
        return {**field, **_quantity(reader, info, value, given)}
    choices = [option for part in _all(info) if get_origin(part) is Literal for option in get_args(part)]
    if choices:
        options = [] if info.is_required() or info.default is not None else [None]
        return {**field, "type": "choice", "value": value, "options": [*options, *choices]}
    if info.annotation is int:
        return {**field, "type": "whole", "value": value}
    return None


def _quantity(reader: Reader, info: FieldInfo, value: Quantity | None, given: Any) -> Json:
    example, written = _read(_example_of(reader), reader)
    unit = written if value is None else value.unit
    factor = parse(f"1 {unit}", reader.unit)[0] if unit else 1.0
    low, high = _span(reader, abs(example) if value is None or not value.nominal else abs(value.nominal))
    default = info.default
    return {
        "type": "quantity",
        "value": None if value is None else value.nominal,
        "text": "" if value is None else value.text,
        "unit": unit,
        "factor": factor,
        "low": low / factor,
        "high": high / factor,
        "expected": reader.expected,
        "default": default.text if isinstance(default, Quantity) else "",
        "optional": not info.is_required(),
        "spread": given if isinstance(given, dict) else None,
        "std": None if value is None or not math.isfinite(value.std) else value.std / factor,
    }


def _read(example: str | float, reader: Reader) -> tuple[float, str]:
    return (example, "") if isinstance(example, float) else parse(example, reader.unit)


def _span(reader: Reader, size: float) -> tuple[float, float]:
    """Where a slider goes: the whole range where it has two ends, else some way beyond the value; SI."""
    if reader.high in (1.0, math.pi / 2):
        return reader.low, reader.high
    return max(reader.low, -REACH * size), min(reader.high, REACH * size)
