"""The reference of a file format, from the same models that read it."""

import inspect
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, ClassVar, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from gatesim.ground.data import Keys
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Table
from gatesim.scenario.modelpaths import family_of, models_of, reader_of


@dataclass(frozen=True)
class KeyEntry:
    """A key of a table: ``takes`` says type, unit and range with an example, ``per`` how often it is drawn.

    ``default`` is empty where the key is needed, and "-" where nothing is taken for it.
    """

    key: str
    takes: str
    default: str
    meaning: str
    per: str

    KEYS: ClassVar[Keys] = {
        "key": "key", "takes": "takes", "default": "default", "meaning": "meaning", "per": "drawn_per",
    }  # fmt: skip


@dataclass(frozen=True)
class TableEntry:
    """A table by its path; ``choice`` is the key and word that pick this member of a family, or empty.

    ``also``: paths of other tables with the same keys.
    """

    path: str
    also: tuple[str, ...]
    choice: str
    meaning: str
    drawing: str
    keys: tuple[KeyEntry, ...]

    KEYS: ClassVar[Keys] = {
        "path": "path", "also": "also", "choice": "choice", "meaning": "meaning", "drawing": "drawing",
        "keys": "keys",
    }  # fmt: skip


def reference(root: type[BaseModel]) -> tuple[TableEntry, ...]:
    """Every table that a file of this model may have, a table's own tables after it."""
    return tuple(_tables(root, "", ""))


def _tables(
    model: type[BaseModel], path: str, choice: str, also: tuple[str, ...] = ()
) -> Iterator[TableEntry]:
    meaning = " ".join((inspect.getdoc(model) or "").replace("`", "").split())
    entries = tuple(_entry(model, key, info, path) for key, info in model.model_fields.items())
    yield TableEntry(path, also, choice, meaning, getattr(model, "drawing", ""), entries)
    homes: dict[tuple[type[BaseModel], str], list[str]] = {}
    for key, info in model.model_fields.items():
        family = family_of(info)
        where = (f"{path}.{key}" if path else key) + _names(info.annotation)
        for inner in models_of(info):
            # a gate's own sensor has the keys of all of them, the table above: it is not told again
            if not issubclass(model, inner):
                homes.setdefault((inner, "" if family is None else _word(inner, family.tag)), []).append(
                    where
                )
    for (inner, word), paths in homes.items():
        yield from _tables(inner, paths[0], word, tuple(paths[1:]))


def _word(member: type[BaseModel], tag: str) -> str:
    words = get_args(member.model_fields[tag].annotation)
    return f'{tag} = "{words[0]}"' if words else ""


def _entry(model: type[BaseModel], key: str, info: FieldInfo, path: str) -> KeyEntry:
    level = model.level(key) if reader_of(info) is not None and issubclass(model, Table) else ""
    if path.split(".")[0] in ("formula", "requirement", "wanted"):
        level = ""  # a controller's constant or a limit is not drawn
    return KeyEntry(key, _takes(key, info, path), _default(info), (info.description or "").strip(), level)


def _takes(key: str, info: FieldInfo, path: str) -> str:
    reader = reader_of(info)
    if reader is not None:
        own = f'such as "{info.examples[0]}"' if info.examples else ""
        return re.sub(r'such as ".*?"', own, reader.expected, count=1) if own else reader.expected
    tables = models_of(info)
    where = (f"{path}.{key}" if path else key) + _names(info.annotation)
    if tables:
        many = "tuple" in str(info.annotation)
        return f"list of tables [[{where}]]" if many else f"table [{where}]"
    choices = _choices(info.annotation)
    if choices:
        shown = ", ".join(f'"{c}"' if isinstance(c, str) else str(c) for c in choices)
        return f"list of {shown}" if "tuple" in str(info.annotation) else shown
    return _plain(info)


def _choices(annotation: Any) -> list[Any]:
    inner = get_args(annotation)
    words = [item for item in inner if isinstance(item, str | int) and not isinstance(item, bool)]
    return words or [choice for item in inner for choice in _choices(item)]


def _plain(info: FieldInfo) -> str:
    bounds = [getattr(item, side, None) for side in ("ge", "le") for item in info.metadata]
    limits = [f"{bound:g}" for bound in bounds if bound is not None]
    word = _word_for(info.annotation)
    return f"{word} from {' to '.join(limits)}" if limits else word


def _word_for(annotation: Any) -> str:
    """A type in words: "list of text"."""
    words = {int: "whole number", float: "plain number", str: "text", bool: "true or false", date: "date"}
    if annotation in words:
        return words[annotation]
    inner = [item for item in get_args(annotation) if item is not type(None)]
    if get_origin(annotation) in (tuple, list):
        return f"list of {_word_for(inner[0])}"
    if get_origin(annotation) is dict:
        return "table of names and values"
    return _word_for(inner[0]) if inner else "a value"


def _names(annotation: Any) -> str:
    """The steps of a path that a file names itself: one for each mapping."""
    inner = get_args(annotation)
    if get_origin(annotation) is dict:
        return f".NAME{_names(inner[1])}"
    return _names(inner[0]) if inner and get_origin(annotation) is Annotated else ""


def _default(info: FieldInfo) -> str:
    if info.is_required():
        return ""
    value = info.default
    if isinstance(value, Quantity):
        return value.text
    if isinstance(value, Table):
        tag = next((v for k, v in value if k in ("kind", "shape")), None)
        return str(tag or "-")
    if value is None or value is PydanticUndefined or value in ("", (), {}):
        return "-"
    return str(value)
