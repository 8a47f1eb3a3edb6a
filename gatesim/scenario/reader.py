"""Reading a scenario file, and saying in one sentence what is wrong with it."""

import inspect
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from gatesim.ground.errors import InputError
from gatesim.ground.family import Family
from gatesim.ground.keys import Reader
from gatesim.scenario.model import Scenario, raw_with


def load(file: str | Path) -> Scenario:
    """Read and validate a scenario file. Raises InputError with one sentence."""
    path = Path(file)
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(f"{path}: it cannot be read ({error.strerror or error})") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: it is not UTF-8 text, expected a scenario in TOML") from None
    return parse_text(text, str(path))


def parse_text(text: str, file: str = "<text>") -> Scenario:
    """Validate the text of a scenario. Raises InputError with one sentence."""
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError(f"{file}: it is not valid TOML: {error}") from None
    return from_raw(raw, file)


def from_raw(raw: Mapping[str, Any], file: str = "<table>") -> Scenario:
    """Validate a table as TOML gives it. Raises InputError with one sentence."""
    try:
        scenario = Scenario.model_validate(raw)
    except ValidationError as error:
        raise InputError(f"{file}: {_sentence(error, raw)}") from None
    except RecursionError:
        raise InputError(f"{file}: its tables are nested too deeply") from None
    scenario._raw = dict(raw)
    scenario._file = file
    return scenario


def changed(scenario: Scenario, path: str, value: Any) -> Scenario:
    """Copy of a scenario with the text or number at ``path`` replaced, validated anew.

    A spread given at the path is kept about the new value. Raises InputError on a path
    that no scenario has (naming the nearest) or on a value that does not fit.
    """
    return with_values(scenario, {path: value})


def with_values(scenario: Scenario, values: Mapping[str, Any]) -> Scenario:
    """Copy of a scenario with texts, numbers, tables or pint quantities at paths, validated as a whole.

    As `changed`, for several at once, which may fit together only as they are.
    """
    known, raw = list(scenario.quantities()), scenario.raw
    for path, value in values.items():
        if path not in known and path not in schema_paths(Scenario):
            raise InputError(f"{scenario.file}: {path}: no such quantity{_nearest(path, known)}")
        raw = raw_with(raw, path, _written(value))
    return from_raw(raw, scenario.file)


def _written(value: Any) -> Any:
    """A pint quantity as the text that a file has; anything else as it is."""
    if hasattr(value, "magnitude") and hasattr(value, "units"):
        return f"{float(value.magnitude)!r} {value.units:~C}".strip()
    return value


def _close(word: str, known: list[str], most: int, likeness: float) -> list[str]:
    from difflib import get_close_matches  # deferred: only bad input needs it

    return get_close_matches(word, known, n=most, cutoff=likeness)


def _nearest(word: str, known: list[str]) -> str:
    close = _close(word, known, 3, 0.5)
    if len(close) > 1:
        return f"; the nearest are {', '.join(close[:-1])} and {close[-1]}"
    return f"; the nearest is {close[0]}" if close else f", expected one of {', '.join(known)}"


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, Family):
        return list(annotation.members)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [] if inspect.isabstract(annotation) else [annotation]
    return [model for inner in get_args(annotation) for model in _models(inner)]


def _models_of(info: FieldInfo) -> list[type[BaseModel]]:
    """Tables that a key may hold."""
    return [model for part in (info.annotation, *info.metadata) for model in _models(part)]


def schema_paths(model: type[BaseModel], prefix: str = "") -> set[str]:
    """Every dotted path that a scenario may have, list members left out."""
    found = set()
    for key, info in model.model_fields.items():
        found.add(f"{prefix}{key}")
        for inner in _models_of(info):
            found |= schema_paths(inner, f"{prefix}{key}.")
    return found


def _location(error: Any, raw: Mapping[str, Any]) -> tuple[list[str], Any]:
    """Keys as the file has them (pydantic adds the tags of unions), and the table around the last."""
    at: Any = raw
    keys: list[str] = []
    around: Any = raw
    steps = error["loc"]
    for number, step in enumerate(steps):
        last = number == len(steps) - 1
        if isinstance(step, int):
            keys.append(str(step + 1))
            around, at = at, at[step] if isinstance(at, list | tuple) and step < len(at) else None
        elif isinstance(at, Mapping) and (step in at or last) and not (last and _is_tag(error, step, at)):
            keys.append(step)
            around, at = at, at.get(step)
    return keys, around


def _is_tag(error: Any, step: str, at: Mapping[str, Any]) -> bool:
    return step not in at and error["type"] not in ("missing",)


def _expected(info: FieldInfo, where: str) -> str:
    readers = [item.expected for item in info.metadata if isinstance(item, Reader)]
    if readers:
        return readers[0]
    return f"a table [{where}]" if _models_of(info) else "a value"


def _valid_models(keys: list[str]) -> list[type[BaseModel]]:
    models: list[type[BaseModel]] = [Scenario]
    for key in keys:
        if not key.isdigit():
            models = [
                inner
                for model in models
                if key in model.model_fields
                for inner in _models_of(model.model_fields[key])
            ]
    return models


def _valid_keys(keys: list[str]) -> list[str]:
    return sorted({name for model in _valid_models(keys) for name in model.model_fields})


def _said(given: Any) -> str:
    """What the file gave, short enough for a sentence."""
    if isinstance(given, Mapping | BaseModel):
        value = given.get("value") if isinstance(given, Mapping) else None
        return "a table" if value is None else f"{_said(value)} with a spread"
    said = repr(given)
    return said if len(said) <= 80 else f"{said[:77]}..."


def _sentence(problem: ValidationError, raw: Mapping[str, Any]) -> str:
    errors = problem.errors(include_url=False)
    error = next((e for e in errors if e["type"] == "extra_forbidden"), errors[0])
    keys, _ = _location(error, raw)
    where = ".".join(keys)
    given = _said(error["input"])
    kind, context = error["type"], error.get("ctx", {})
    if kind == "extra_forbidden":
        valid = _valid_keys(keys[:-1])
        table = f"[{'.'.join(keys[:-1])}]" if keys[:-1] else "a scenario"
        close = _close(keys[-1], valid, 1, 0.4)
        hint = f"did you mean {close[0]!r}?" if close else f"expected one of {', '.join(valid)}"
        return f"{where}: {table} has no key {keys[-1]!r}, {hint}"
    if kind == "missing":
        info = next(m.model_fields[keys[-1]] for m in _valid_models(keys[:-1]) if keys[-1] in m.model_fields)
        return f"{where}: given nothing, expected {_expected(info, where)}"
    if kind == "value_error":
        text = str(context["error"])
        if text.count("|") == 2:
            key, said, expected = text.split("|")
            return f"{key}: given {said}, expected {expected}"
        reason, _, expected = text.rpartition("|")
        return f"{where}: given {given} ({reason}), expected {expected}"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        tag = str(context["discriminator"]).strip("'")
        kinds = [get_args(model.model_fields[tag].annotation) for model in _valid_models(keys)]
        choices = ", ".join(repr(kind) for group in kinds for kind in group)
        said = repr(context["tag"]) if "tag" in context else "nothing"
        return f"{where}.{tag}: given {said}, expected one of {choices}"
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return f"{where}: given {given}, expected a table [{where}]"
    if kind == "too_short":
        return f"{where}: given {given}, expected at least {context['min_length']} of them"
    return f"{where}: given {given}, expected {_lower(error['msg'])}"


def _lower(message: str) -> str:
    return message.removeprefix("Input should be ").replace("Input should ", "")
