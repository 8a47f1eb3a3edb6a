"""What is wrong with a table, one sentence each: what was given, what is expected, and a hint to mend it."""

import re
from collections.abc import Mapping
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from gatesim.ground.errors import Fault
from gatesim.ground.table import Misfits, Table
from gatesim.scenario.modelpaths import family_of, fields_at, models_at, models_of, reader_of, schema_paths

SURE, VAGUE = 0.7, 0.4
"""Likeness of a misspelt key to the one that is proposed: before and after other tables are looked at."""


def faults_of(
    problem: ValidationError, raw: Mapping[str, Any], root: type[BaseModel], whole: str
) -> list[Fault]:
    """Everything that is wrong, each thing once; what follows from another fault is left out.

    ``whole``: what the file is called.
    """
    faults: list[Fault] = []
    meant: set[tuple[str, ...]] = set()
    errors = problem.errors(include_url=False)
    for error in sorted(errors, key=lambda e: e["type"] != "extra_forbidden"):
        keys, at = _location(error, raw)
        if error["type"] == "missing" and tuple(keys) in meant:
            continue
        if error["type"] == "extra_forbidden":
            sentence, instead = _unknown(keys, root, whole)
            meant.add((*keys[:-1], instead))
            found = [Fault(tuple(keys), sentence)]
        else:
            found = _sentences(error, keys, root)
        known = {fault.sentence for fault in faults} | {fault.keys for fault in faults}
        if not faults or not _follows(error, at):
            faults += [fault for fault in found if fault.sentence not in known and fault.keys not in known]
    return faults


def nearest(word: str, known: list[str]) -> str:
    """The paths that a misspelt one may have meant, as the end of a sentence."""
    close = _close(word, known, 3, 0.5)
    if len(close) > 1:
        return f"; the nearest are {', '.join(close[:-1])} and {close[-1]}"
    return f"; the nearest is {close[0]}" if close else f", expected one of {', '.join(known)}"


def table_like(model: type[BaseModel]) -> str:
    """What a table looks like: its needed keys, each with an example."""
    items = []
    for key, info in model.model_fields.items():
        if not info.is_required():
            continue
        choices = get_args(info.annotation)
        example = _example(info)
        if example is None and choices and all(isinstance(choice, str) for choice in choices):
            example = f'"{choices[0]}"'
        items.append(f"{key} = {example or '...'}")
    return f"{{ {', '.join(items)} }}"


def _example(info: FieldInfo) -> str | None:
    reader = reader_of(info)
    found = None if reader is None else re.search(r"such as (.*?)(?: or .*)?$", reader.expected)
    return found[1] if found else None


def _close(word: str, known: list[str], most: int, likeness: float) -> list[str]:
    from difflib import get_close_matches  # deferred: only bad input needs it

    return get_close_matches(word, known, n=most, cutoff=likeness)


def _location(error: Any, raw: Mapping[str, Any]) -> tuple[list[str], Any]:
    """Keys as the file has them (pydantic adds the tags of unions), and what the file has there."""
    at: Any = raw
    keys: list[str] = []
    steps = error["loc"]
    for number, step in enumerate(steps):
        last = number == len(steps) - 1
        if isinstance(step, int):
            if isinstance(at, list | tuple):  # else a single one that stands for a list
                keys.append(str(step + 1))
                at = at[step] if step < len(at) else None
        elif isinstance(at, Mapping) and (step in at or last) and not (last and _is_tag(error, step, at)):
            keys.append(step)
            at = at.get(step)
    return keys, at


def _follows(error: Any, at: Any) -> bool:
    """Whether it is said of what one table has from another, or of what is left of a list."""
    kind, given = error["type"], error["input"]
    if kind == "too_short":
        return bool(len(given) >= error["ctx"]["min_length"])
    return kind not in ("missing", "value_error") and bool(at != given)


def _is_tag(error: Any, step: str, at: Mapping[str, Any]) -> bool:
    return step not in at and error["type"] not in ("missing",)


def _unknown(keys: list[str], root: type[BaseModel], whole: str) -> tuple[str, str]:
    """The sentence on a key that its table has not, and the key of that table that was meant, if any."""
    models = models_at(root, keys[:-1])
    valid = sorted({name for model in models for name in model.model_fields})
    word = keys[-1].lower().replace("-", "_").replace(" ", "_")
    table = f"[{'.'.join(keys[:-1])}]" if keys[:-1] else whole
    said = f"{'.'.join(keys)}: {table} has no key {keys[-1]!r}"
    meant = [instead for model in models if (instead := _synonym(model, word)) is not None]
    meant = meant or _close(word, valid, 1, SURE)
    if not meant:
        homes = _elsewhere(word, root)
        if homes and not keys[-1].isdigit():
            return f"{said}, did you mean {' or '.join(homes)}?", ""
        meant = _close(word, valid, 1, VAGUE)
    if meant:
        return f"{said}, did you mean {meant[0]!r}?", meant[0]
    return f"{said}, expected one of {', '.join(valid)}", ""


def _synonym(model: type[BaseModel], word: str) -> str | None:
    """The key that is meant by a word of the trade."""
    if not issubclass(model, Table):
        return None
    if word in model.synonyms:
        return model.synonyms[word]
    for key, info in model.model_fields.items():
        if any(issubclass(inner, Table) and word in inner.called for inner in models_of(info)):
            return key
    return None


def _elsewhere(word: str, root: type[BaseModel]) -> list[str]:
    """Where other tables have such a key: the shortest paths."""
    homes = sorted((path.split(".") for path in schema_paths(root) if "." in path), key=lambda p: (len(p), p))
    found = [keys for keys in homes if keys[-1] == word]
    return [f"{keys[-1]!r} in [{'.'.join(keys[:-1])}]" for keys in found if len(keys) == len(found[0])][:2]


def _said(given: Any) -> str:
    """What the file gave, short enough for a sentence."""
    if isinstance(given, Mapping | BaseModel):
        value = given.get("value") if isinstance(given, Mapping) else None
        return "a table" if value is None else f"{_said(value)} with a spread"
    said = repr(given)
    return said if len(said) <= 80 else f"{said[:77]}..."


def _expected(info: FieldInfo, where: str) -> str:
    reader = reader_of(info)
    if reader is not None:
        meaning = (info.description or "").rstrip(".")
        return f"{reader.expected} ({meaning[:1].lower()}{meaning[1:]})" if meaning else reader.expected
    tables = models_of(info)
    if not tables:
        return "a value"
    needed = [key for key, inner in tables[0].model_fields.items() if inner.is_required()]
    listed = " and ".join([", ".join(needed[:-1]), needed[-1]] if needed[1:] else needed)
    return f"a table [{where}] with at least {listed}" if needed else f"a table [{where}]"


def _sentences(error: Any, keys: list[str], root: type[BaseModel]) -> list[Fault]:
    """What pydantic found, told with the words of the file."""
    kind, context = error["type"], error.get("ctx", {})
    if kind == "value_error" and isinstance(context["error"], Misfits):
        return [Fault(tuple(one.key.split(".")), one.sentence) for one in context["error"].each]
    where = ".".join(keys)
    given = _said(error["input"])
    if kind == "value_error":
        text = str(context["error"])
        if text.count("|") == 2:
            key, said, expected = text.split("|")
            return [Fault(tuple(key.split(".")), f"{key}: given {said}, expected {expected}")]
        reason, _, expected = text.rpartition("|")
        return [Fault(tuple(keys), f"{where}: given {given} ({reason}), expected {expected}")]
    if kind == "missing":
        (info, *_) = fields_at(root, keys)
        return [Fault(tuple(keys), f"{where}: given nothing, expected {_expected(info, where)}")]
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        return [_choice(context, keys, root)]
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return [
            Fault(
                tuple(keys),
                f"{where}: given {given}, expected a table [{where}]{_looks(error['input'], keys, root)}",
            )
        ]
    if kind == "too_short":
        return [
            Fault(tuple(keys), f"{where}: given {given}, expected at least {context['min_length']} of them")
        ]
    choices = re.findall(r"'([^']+)'", str(context.get("expected", ""))) if kind == "literal_error" else []
    return [
        Fault(
            tuple(keys),
            f"{where}: given {given}, expected {_lower(error['msg'])}{_meant(error['input'], choices)}",
        )
    ]


def _choice(context: Any, keys: list[str], root: type[BaseModel]) -> Fault:
    """A member that its family has not, or none named."""
    tag = str(context["discriminator"]).strip("'")
    models = models_at(root, keys)
    kinds = [kind for model in models for kind in get_args(model.model_fields[tag].annotation)]
    choices = ", ".join(repr(kind) for kind in kinds)
    where = ".".join([*keys, tag])
    said = repr(context["tag"]) if "tag" in context else "nothing"
    word = str(context.get("tag", "")).lower().replace(" ", "-").replace("_", "-")
    called = [
        get_args(model.model_fields[tag].annotation)[0]
        for model in models
        if issubclass(model, Table) and word.replace("-", "_") in model.called
    ]
    hint = f"; did you mean {called[0]!r}?" if called else _meant(word, kinds)
    return Fault((*keys, tag), f"{where}: given {said}, expected one of {choices}{hint}")


def _meant(given: object, choices: list[str]) -> str:
    close = _close(str(given).lower(), choices, 1, 0.6) if isinstance(given, str) else []
    return f"; did you mean {close[0]!r}?" if close else ""


def _looks(given: object, keys: list[str], root: type[BaseModel]) -> str:
    """What a table looks like at these keys: the member of a family that was named, or the first."""
    family = next((f for info in fields_at(root, keys) if (f := family_of(info)) is not None), None)
    if family is None:
        return ""
    tags = {get_args(member.model_fields[family.tag].annotation)[0]: member for member in family.members}
    member = tags.get(given) if isinstance(given, str) else None
    return f" such as {keys[-1]} = {table_like(member or family.members[0])}"


def _lower(message: str) -> str:
    return message.removeprefix("Input should be ").replace("Input should ", "")
