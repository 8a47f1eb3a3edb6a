"""Tables checked against the model of a file, and copies of them with other values."""

from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from gatesim.ground.errors import FileErrors, InputError
from gatesim.scenario.modelpaths import schema_paths
from gatesim.scenario.sentences import faults_of, nearest

ModelT = TypeVar("ModelT", bound=BaseModel)


def validated(root: type[ModelT], raw: Mapping[str, Any], file: str, whole: str = "a scenario") -> ModelT:
    """The table as a model of its keys; ``whole`` is what the file is called.

    Raises FileErrors with a sentence for everything that is wrong.
    """
    try:
        return root.model_validate(raw)
    except ValidationError as error:
        raise FileErrors(file, faults_of(error, raw, root, whole)) from None
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
            raise InputError(f"{file}: {path}: no such quantity{nearest(path, known)}")
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
