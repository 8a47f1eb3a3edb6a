"""The changed scenario as a file: comments kept, nothing lost."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from gatesim.ground.errors import InputError
from gatesim.ground.files import reason, same_file, target
from gatesim.scenario.reader import parse_text
from gatesim.view.bench.patch import differences, plain

NEW = "new rig"


@dataclass(frozen=True)
class Starter:
    """A rig to begin with: what it is called, and its scenario as TOML."""

    title: str
    text: str


@dataclass(frozen=True)
class Opened:
    """The file that the bench was opened with, ``text`` as it was read; without a path a new rig.

    ``folder``: where a new name is put.
    """

    path: Path | None
    text: str
    folder: Path

    @property
    def name(self) -> str:
        """Name in sentences and results."""
        return NEW if self.path is None else str(self.path)

    def table(self) -> dict[str, Any]:
        """The table of the file. Raises InputError."""
        found: dict[str, Any] = plain(parse_text(self.text, self.name).raw)
        return found


def open_file(path: Path) -> Opened:
    """Read a scenario file to be changed. Raises InputError."""
    try:
        return Opened(path, path.read_bytes().decode("utf-8"), path.parent)
    except OSError as error:
        raise InputError(f"{path}: it cannot be read ({reason(error)})") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: it is not UTF-8 text, expected a scenario in TOML") from None


def changed_text(opened: Opened, table: dict[str, Any], name: str) -> str:
    """The text with the table's values in it, comments kept. Raises InputError."""
    import tomlkit  # deferred: only saving needs it

    document = tomlkit.parse(opened.text)
    for path, value in differences(plain(document.unwrap()), table).items():
        _put(document, path, value)
    text = tomlkit.dumps(document)
    if differences(plain(parse_text(text, name).raw), table):
        raise InputError(f"{name}: the change cannot be written into the text of {opened.name}")
    return text


def saved(opened: Opened, table: dict[str, Any], name: str | None) -> Opened:
    """Write the changed scenario into the opened file, or under a new ``name`` beside it.

    Raises InputError where the file changed meanwhile, the name is taken or no plain name.
    """
    path = _place(opened, name)
    if opened.path is not None and same_file(path, opened.path):
        _unchanged(opened)
    elif path.exists():
        raise InputError(f"{path}: a file of that name is there already, expected a new name")
    text = changed_text(opened, table, str(path))
    target(path, "scenario").write(text)
    return replace(opened, path=path, text=text)


def _place(opened: Opened, name: str | None) -> Path:
    if name is None:
        if opened.path is None:
            raise InputError("a new rig has no file yet, expected a name for it")
        return opened.path
    if Path(name).name != name or "\\" in name or name in ("", ".", "..") or not name.isprintable():
        raise InputError(f"{name!r}: given as the new name, expected a name without a folder")
    return opened.folder / (name if name.endswith(".toml") else f"{name}.toml")


def _unchanged(opened: Opened) -> None:
    assert opened.path is not None
    try:
        now = opened.path.read_bytes()
    except OSError as error:
        raise InputError(f"{opened.path}: it cannot be read any more ({reason(error)})") from None
    if now != opened.text.encode():
        raise InputError(f"{opened.path}: it was changed by someone else meanwhile, expected a new name")


def _put(at: Any, path: str, value: Any) -> None:
    """Set a value in a TOML document, or leave the key out where it is None."""
    key, _, rest = path.partition(".")
    if isinstance(at, list):
        _put(at[int(key) - 1], rest, value)
    elif rest:
        _put(at[key], rest, value)
    elif value is None:
        del at[key]
    else:
        at[key] = _written(value, inline="." in path or key in at)


def _written(value: Any, *, inline: bool) -> Any:
    """A value as the file has it: what has a spread stands in one line."""
    import tomlkit

    if not isinstance(value, dict):
        return value
    table = tomlkit.inline_table() if "distribution" in value or inline else tomlkit.table()
    for key, item in value.items():
        table[key] = _written(item, inline=isinstance(table, tomlkit.items.InlineTable))
    return table
