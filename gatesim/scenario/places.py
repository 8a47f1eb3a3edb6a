"""Where the keys of a TOML file stand: line and column, which a parsed table no longer knows."""

import re

from gatesim.ground.errors import Place

_SPACE = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_KEY = re.compile(r"""[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'""")
_TEXT = re.compile(r'''"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\\n]|\\.)*"|'[^'\n]*\'''', re.DOTALL)
_BARE = re.compile(r"[^,\]}#\n]*")

Path = tuple[str, ...]


def places_of(text: str) -> dict[Path, Place]:
    """Line and column of every key and table of a valid TOML text, members of lists by number from 1."""
    scanner = _Scanner(text)
    scanner.document()
    starts = [0, *(match.end() for match in re.finditer("\n", text))]
    found: dict[Path, Place] = {}
    line = 0
    for offset, path in sorted((offset, path) for path, offset in scanner.found.items()):
        while line + 1 < len(starts) and starts[line + 1] <= offset:
            line += 1
        found[path] = (line + 1, offset - starts[line] + 1)
    return found


class _Scanner:
    """Walks over a text that a TOML parser has accepted; ``found`` has the offset of each path."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.found: dict[Path, int] = {}
        self.members: dict[Path, int] = {}

    def document(self) -> None:
        table: Path = ()
        self._skip()
        while self.at < len(self.text):
            if self.text.startswith("[", self.at):
                table = self._header()
            else:
                self._pair(table)
            self._skip()

    def _skip(self) -> None:
        match = _SPACE.match(self.text, self.at)
        self.at = match.end() if match else self.at

    def _take(self, mark: str) -> bool:
        self._skip()
        there = self.text.startswith(mark, self.at)
        self.at += len(mark) if there else 0
        return there

    def _header(self) -> Path:
        start = self.at
        many = self.text.startswith("[[", self.at)
        self.at += 2 if many else 1
        keys = self._keys()
        self._take("]]" if many else "]")
        path: Path = ()
        for number, key in enumerate(keys):
            path = (*path, key)
            if many and number == len(keys) - 1:
                self.found.setdefault(path, start)
                self.members[path] = self.members.get(path, 0) + 1
            if path in self.members:
                path = (*path, str(self.members[path]))
            self.found.setdefault(path, start)
        return path

    def _keys(self) -> list[str]:
        keys: list[str] = []
        while True:
            self._skip()
            match = _KEY.match(self.text, self.at)
            if match is None:
                return keys
            self.at = match.end()
            keys.append(match[0].strip("\"'") if match[0][0] in "\"'" else match[0])
            if not self._take("."):
                return keys

    def _pair(self, table: Path) -> None:
        start = self.at
        path = table
        for key in self._keys():
            path = (*path, key)
            self.found.setdefault(path, start)
        if not self._take("="):
            self.at = max(self.at, start + 1)  # no text that a parser accepts comes here
            return
        self._value(path)

    def _value(self, path: Path) -> None:
        self._skip()
        if self.text.startswith("{", self.at):
            self.at += 1
            while not self._take("}") and self.at < len(self.text):
                self._pair(path)
                self._take(",")
        elif self.text.startswith("[", self.at):
            self.at += 1
            number = 0
            while not self._take("]") and self.at < len(self.text):
                number += 1
                self.found[*path, str(number)] = self.at
                self._value((*path, str(number)))
                self._take(",")
        else:
            match = _TEXT.match(self.text, self.at) or _BARE.match(self.text, self.at)
            self.at = match.end() if match else self.at + 1
