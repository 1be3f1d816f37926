"""Where in a TOML text each table, key and value is.

``tomllib`` gives values without positions. This index passes over the same text once and records,
for each path such as ``("rank", 3, "breaks", 0, "from")``, where its key (or, in an array, its
element) begins. It expects a text that ``tomllib`` has read without error and knows just enough
TOML for that: headers, dotted and quoted keys, the four kinds of strings, arrays, inline tables,
comments.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right

Path = tuple[str | int, ...]
"""Path to a place in the description: field names, and indices from 0 within arrays."""

_BLANK = re.compile(r"[ \t]*")
_BETWEEN = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BARE_VALUE = re.compile(r"[^,\]}#\r\n]*")
_STRINGS = (
    ('"""', re.compile(r'"""(?:\\.|[^\\])*?""""{0,2}', re.DOTALL)),
    ("'''", re.compile(r"'''.*?''''{0,2}", re.DOTALL)),
    ('"', re.compile(r'"(?:\\.|[^"\\\n])*"')),
    ("'", re.compile(r"'[^'\n]*'")),
)


class Positions:
    """Lines of a TOML text by path.

    Parameters
    ----------
    text : str
        A text that ``tomllib`` can read.
    """

    def __init__(self, text: str) -> None:
        self._newlines = [i for i, character in enumerate(text) if character == "\n"]
        self._offsets = _Scan(text).run()

    def offset(self, path: Path) -> int | None:
        """Where a path begins, or the nearest thing around it [characters]; None outside any."""
        for length in range(len(path), 0, -1):
            if path[:length] in self._offsets:
                return self._offsets[path[:length]]
        return None

    def line(self, path: Path) -> int | None:
        """Line of a path [from 1], or of the nearest thing around it; None outside any."""
        offset = self.offset(path)
        return None if offset is None else bisect_right(self._newlines, offset - 1) + 1


def opened(text: str) -> tuple[int, str] | None:
    """Line [from 1] and kind of what is still open where a broken text stops being valid.

    The kind is ``text`` for a multi-line string, ``bracket`` for the innermost bracket; None if
    nothing is open.
    """
    scan = _Scan(text)
    try:
        scan.run()
    except ValueError:
        if text.startswith(('"""', "'''"), scan.at):
            return text.count("\n", 0, scan.at) + 1, "text"
        if scan.open:
            return text.count("\n", 0, scan.open[-1]) + 1, "bracket"
    return None


class _Scan:
    """One pass over the text."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.open: list[int] = []
        self.offsets: dict[Path, int] = {}
        self.elements: dict[Path, int] = {}  # number of tables so far in each array of tables

    def run(self) -> dict[Path, int]:
        table: Path = ()
        self.skip(_BETWEEN)
        while self.at < len(self.text):
            begin = self.at
            if self.text.startswith("[[", begin):
                self.at += 2
                table = self.array_table(self.key())
                self.expect("]]")
                self.note(table, begin)
            elif self.text.startswith("[", begin):
                self.at += 1
                parts = self.key()
                self.expect("]")
                table = (*self.inside(parts[:-1]), parts[-1])
                self.note(table, begin)
            else:
                self.pair(table)
            self.skip(_BETWEEN)
        return self.offsets

    def inside(self, parts: tuple[str, ...]) -> Path:
        """Path of named tables; within an array of tables, the last one."""
        path: Path = ()
        for part in parts:
            path = (*path, part)
            if path in self.elements:
                path = (*path, self.elements[path] - 1)
        return path

    def array_table(self, parts: tuple[str, ...]) -> Path:
        array = (*self.inside(parts[:-1]), parts[-1])
        number = self.elements.get(array, 0)
        self.elements[array] = number + 1
        return (*array, number)

    def note(self, path: Path, offset: int) -> None:
        """Record a position, and those of tables named only on the way to it."""
        for length in range(1, len(path) + 1):
            self.offsets.setdefault(path[:length], offset)

    def pair(self, table: Path) -> None:
        begin = self.at
        path = (*table, *self.key())
        self.note(path, begin)
        self.expect("=")
        self.skip(_BLANK)
        self.value(path)

    def key(self) -> tuple[str, ...]:
        parts = []
        while True:
            self.skip(_BLANK)
            if self.text[self.at : self.at + 1] in {'"', "'"}:
                quoted = self.string()
                parts.append(str(tomllib.loads(f"key = {quoted}")["key"]))
            else:
                parts.append(self.take(_BARE_KEY))
            self.skip(_BLANK)
            if not self.text.startswith(".", self.at):
                return tuple(parts)
            self.at += 1

    def value(self, path: Path) -> None:
        character = self.text[self.at : self.at + 1]
        if character in {'"', "'"}:
            self.string()
        elif character == "[":
            self.array(path)
        elif character == "{":
            self.inline(path)
        else:
            self.take(_BARE_VALUE)

    def array(self, path: Path) -> None:
        self.open.append(self.at)
        self.at += 1
        number = 0
        self.skip(_BETWEEN)
        while not self.text.startswith("]", self.at):
            self.note((*path, number), self.at)
            self.value((*path, number))
            number += 1
            self.skip(_BETWEEN)
            if not self.text.startswith("]", self.at):
                self.expect(",")
                self.skip(_BETWEEN)
        self.at += 1
        self.open.pop()

    def inline(self, path: Path) -> None:
        self.open.append(self.at)
        self.at += 1
        self.skip(_BETWEEN)
        while not self.text.startswith("}", self.at):
            self.pair(path)
            self.skip(_BETWEEN)
            if not self.text.startswith("}", self.at):
                self.expect(",")
                self.skip(_BETWEEN)
        self.at += 1
        self.open.pop()

    def string(self) -> str:
        for quotes, pattern in _STRINGS:
            if self.text.startswith(quotes, self.at):
                return self.take(pattern)
        raise ValueError(self.at)

    def take(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None or not match[0]:
            raise ValueError(self.at)
        self.at = match.end()
        return match[0]

    def skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        if match is not None:
            self.at = match.end()

    def expect(self, mark: str) -> None:
        self.skip(_BLANK)
        if not self.text.startswith(mark, self.at):
            raise ValueError(self.at)
        self.at += len(mark)
