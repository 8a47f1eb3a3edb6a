"""Tables checked against the model of a scenario; what is wrong with one is said in one sentence."""

import inspect
from collections.abc import Mapping
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from gatesim.ground.errors import InputError
from gatesim.ground.family import Family
from gatesim.ground.keys import Reader

ModelT = TypeVar("ModelT", bound=BaseModel)


def validated(root: type[ModelT], raw: Mapping[str, Any], file: str) -> ModelT:
    """The table as a model of its keys. Raises InputError with one sentence."""
    try:
        return root.model_validate(raw)
    except ValidationError as error:
        raise InputError(f"{file}: {_sentence(error, raw, root)}") from None
    except RecursionError:
        raise InputError(f"{file}: its tables are nested too deeply") from None


def raw_with_all(
    root: type[BaseModel], known: list[str], raw: Mapping[str, Any], values: Mapping[str, Any], file: str
) -> Mapping[str, Any]:
    """Copy of a table with texts, numbers, tables or pint quantities at paths.

    known: paths that it has. Raises InputError on a path that is neither there nor in the model.
    """
    for path, value in values.items():
        if path not in known and path not in schema_paths(root):
            raise InputError(f"{file}: {path}: no such quantity{_nearest(path, known)}")
        raw = raw_with(raw, path, _written(value))
    return raw


def raw_with(raw: Mapping[str, Any], path: str, value: Any) -> dict[str, Any]:
    """Copy of a scenario's table with the value at ``path`` replaced; missing tables are made."""
    key, _, rest = path.partition(".")
    copy = dict(raw)
    if not rest:
        old = copy.get(key)
        keeps_spread = isinstance(old, dict) and "distribution" in old and not isinstance(value, dict)
        copy[key] = {**old, "value": value} if keeps_spread and isinstance(old, dict) else value
    elif isinstance(copy.get(key), list):
        number, _, inner = rest.partition(".")
        items = list(copy[key])
        items[int(number) - 1] = raw_with(items[int(number) - 1], inner, value)
        copy[key] = items
    else:
        copy[key] = raw_with(copy.get(key, {}), rest, value)
    return copy


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


def _valid_models(root: type[BaseModel], keys: list[str]) -> list[type[BaseModel]]:
    models = [root]
    for key in keys:
        if not key.isdigit():
            models = [
                inner
                for model in models
                if key in model.model_fields
                for inner in _models_of(model.model_fields[key])
            ]
    return models


def _valid_keys(root: type[BaseModel], keys: list[str]) -> list[str]:
    return sorted({name for model in _valid_models(root, keys) for name in model.model_fields})


def _said(given: Any) -> str:
    """What the file gave, short enough for a sentence."""
    if isinstance(given, Mapping | BaseModel):
        value = given.get("value") if isinstance(given, Mapping) else None
        return "a table" if value is None else f"{_said(value)} with a spread"
    said = repr(given)
    return said if len(said) <= 80 else f"{said[:77]}..."


def _sentence(problem: ValidationError, raw: Mapping[str, Any], root: type[BaseModel]) -> str:
    errors = problem.errors(include_url=False)
    error = next((e for e in errors if e["type"] == "extra_forbidden"), errors[0])
    keys, _ = _location(error, raw)
    where = ".".join(keys)
    given = _said(error["input"])
    kind, context = error["type"], error.get("ctx", {})
    if kind == "extra_forbidden":
        valid = _valid_keys(root, keys[:-1])
        table = f"[{'.'.join(keys[:-1])}]" if keys[:-1] else "a scenario"
        close = _close(keys[-1], valid, 1, 0.4)
        hint = f"did you mean {close[0]!r}?" if close else f"expected one of {', '.join(valid)}"
        return f"{where}: {table} has no key {keys[-1]!r}, {hint}"
    if kind == "missing":
        models = _valid_models(root, keys[:-1])
        info = next(model.model_fields[keys[-1]] for model in models if keys[-1] in model.model_fields)
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
        kinds = [get_args(model.model_fields[tag].annotation) for model in _valid_models(root, keys)]
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
