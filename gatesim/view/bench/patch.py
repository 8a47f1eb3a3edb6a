"""A scenario's table as the page holds it, and what differs between two of them."""

from collections.abc import Mapping
from typing import Any

Changes = dict[str, Any]
"""Dotted path -> value; None: the key is left out. Members of lists are numbered from 1."""


def plain(value: Any) -> Any:
    """What TOML gave as JSON can hold it: days and times become text."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    return value if value is None or isinstance(value, str | int | float) else str(value)


def differences(old: Mapping[str, Any], new: Mapping[str, Any], prefix: str = "") -> Changes:
    """What turns one plain table into another, key by key; lists of another length as a whole."""
    found: Changes = {}
    for key in [*old, *(key for key in new if key not in old)]:
        path = f"{prefix}{key}"
        if key not in new:
            found[path] = None
        elif key not in old:
            found[path] = new[key]
        else:
            found |= _difference(old[key], new[key], path)
    return found


def _difference(old: Any, new: Any, path: str) -> Changes:
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        return differences(old, new, f"{path}.")
    if _tables(old) and _tables(new) and len(old) == len(new):
        pairs = enumerate(zip(old, new, strict=True), start=1)
        return {key: value for n, (a, b) in pairs for key, value in _difference(a, b, f"{path}.{n}").items()}
    return {} if old == new and isinstance(old, bool) == isinstance(new, bool) else {path: new}


def _tables(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(item, Mapping) for item in value)
