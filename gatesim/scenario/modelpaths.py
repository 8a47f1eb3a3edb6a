"""What a file may have where: the models and fields at the dotted paths of a table."""

import inspect
from collections.abc import Iterator
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from gatesim.ground.family import Family
from gatesim.ground.keys import Reader


def models_of(info: FieldInfo) -> list[type[BaseModel]]:
    """Tables that a key may hold, in lists as well."""
    return [model for part in (info.annotation, *info.metadata) for model in _models(part)]


def family_of(info: FieldInfo) -> Family[Any] | None:
    """The family that a key chooses from, in a list as well."""
    return next(
        (part for part in _leaves((info.annotation, *info.metadata)) if isinstance(part, Family)), None
    )


def reader_of(info: FieldInfo) -> Reader | None:
    """What reads the quantity at a key; None where it holds something else."""
    return next(
        (part for part in _leaves((info.annotation, *info.metadata)) if isinstance(part, Reader)), None
    )


def models_at(root: type[BaseModel], keys: list[str]) -> list[type[BaseModel]]:
    """Tables that may stand at these keys; members of lists have numbers."""
    held: list[Any] = [root]
    for key in keys:
        held = [inner for part in held for inner in _held(part, key)]
    return [model for part in held for model in _models(part) if _is_table(model)]


def fields_at(root: type[BaseModel], keys: list[str]) -> list[FieldInfo]:
    """The fields that the last of these keys may be."""
    around = models_at(root, keys[:-1])
    return [model.model_fields[keys[-1]] for model in around if keys[-1] in model.model_fields]


def schema_paths(model: type[BaseModel], prefix: str = "") -> set[str]:
    """Every dotted path that a table may have, list members left out."""
    found = set()
    for key, info in model.model_fields.items():
        found.add(f"{prefix}{key}")
        for inner in models_of(info):
            found |= schema_paths(inner, f"{prefix}{key}.")
    return found


def _held(part: Any, key: str) -> list[Any]:
    """What a table, a mapping or a list holds at a key."""
    if isinstance(part, Family):
        return [inner for member in part.members for inner in _held(member, key)]
    if _is_table(part):
        info = part.model_fields.get(key)
        return (
            []
            if info is None
            else [inner for leaf in (info.annotation, *info.metadata) for inner in _parts(leaf)]
        )
    if get_origin(part) is dict:
        return _parts(get_args(part)[1])
    if get_origin(part) in (tuple, list) and key.isdigit():
        return _parts(get_args(part)[0])
    return []


def _parts(annotation: Any) -> list[Any]:
    """An annotation without its unions and annotations; lists and mappings stay whole."""
    if isinstance(annotation, type | Family) or get_origin(annotation) in (tuple, list, dict):
        return [annotation]
    if get_origin(annotation) is Annotated or get_args(annotation):
        inner = [*get_args(annotation), *getattr(annotation, "__metadata__", ())]
        return [part for item in inner for part in _parts(item)]
    return []


def _is_table(part: Any) -> bool:
    return isinstance(part, type) and issubclass(part, BaseModel) and not inspect.isabstract(part)


def _leaves(parts: tuple[Any, ...]) -> Iterator[Any]:
    for part in parts:
        yield part
        yield from _leaves((*get_args(part), *getattr(part, "__metadata__", ())))


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, Family):
        return list(annotation.members)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [] if inspect.isabstract(annotation) else [annotation]
    return [model for inner in get_args(annotation) for model in _models(inner)]
