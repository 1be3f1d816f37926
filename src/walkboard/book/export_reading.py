"""Reads the JSON of an export a row at a time: a book of forty years never lies in memory whole."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import NoReturn, TextIO

_PIECE = 1 << 16  # letters read at once. Chosen.
_LONGEST_VALUE = 1 << 26  # letters of one row; a logger's file of 64 MB fits. Chosen.
_BLANKS = " \t\n\r"
_AFTER_VALUE = f",]}}{_BLANKS}"
TABLES = "tables"


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number")


_DECODER = json.JSONDecoder(parse_constant=_refuse_constant)


class _Text:
    """A JSON text, decoded value by value while it is read.

    Parameters
    ----------
    stream : text stream
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._held = ""
        self._at = 0
        self._has_ended = False

    def next_sign(self) -> str:
        """The next letter that is no blank, which stays; empty at the end."""
        while True:
            while self._at < len(self._held) and self._held[self._at] in _BLANKS:
                self._at += 1
            if self._at < len(self._held):
                return self._held[self._at]
            if self._has_ended:
                return ""
            self._read_on()

    def take(self, sign: str) -> None:
        """Skip a character; ValueError if it is a different one."""
        found = self.next_sign()
        if found != sign:
            raise ValueError(f"{sign!r} is missing" + (f" before {found!r}" if found else ""))
        self._at += 1

    def takes(self, sign: str) -> bool:
        """Skip a character if it comes next."""
        if self.next_sign() != sign:
            return False
        self._at += 1
        return True

    def value(self) -> object:
        """The next value; ValueError if it is broken or too long."""
        self.next_sign()
        while True:
            try:
                found, end = _DECODER.raw_decode(self._held, self._at)
            except json.JSONDecodeError:
                if self._has_ended:
                    raise
            else:
                if isinstance(found, str | dict | list) or self._is_over(end):
                    self._at = end
                    return found
            if len(self._held) - self._at > _LONGEST_VALUE:
                raise ValueError("a value in it has no end")
            self._read_on()

    def _is_over(self, end: int) -> bool:
        """Whether a number or word that ends here does not go on in what is still to be read."""
        return self._has_ended or (end < len(self._held) and self._held[end] in _AFTER_VALUE)

    def _read_on(self) -> None:
        # As much again as is held, so that a long value is tried a few times only.
        piece = self._stream.read(max(_PIECE, len(self._held) - self._at))
        self._held, self._at = self._held[self._at :] + piece, 0
        self._has_ended = not piece


def read_head(source: Path) -> dict[str, object]:
    """What an export says of itself, after all of it was looked through.

    Raises
    ------
    OSError, ValueError, RecursionError
        If it cannot be read, or is no JSON of tables.
    """
    head: dict[str, object] = {}
    with source.open(encoding="utf-8") as stream:
        for _ in _parts(_Text(stream), head):
            pass
    return head


def read_rows(source: Path) -> Iterator[tuple[str, Iterator[object]]]:
    """Each table's name with its rows, in the order of the file; take the rows before the next.

    Raises
    ------
    OSError, ValueError, RecursionError
        As `read_head`.
    """
    with source.open(encoding="utf-8") as stream:
        yield from _parts(_Text(stream), {})


def _parts(text: _Text, head: dict[str, object]) -> Iterator[tuple[str, Iterator[object]]]:
    """The tables; everything beside them goes into `head`, with the tables' names."""
    for name in _names(text, head):
        if name != TABLES:
            head[name] = text.value()
            continue
        tables: dict[str, object] = {}
        head[TABLES] = tables
        for table in _names(text, tables):
            tables[table] = None
            rows = _rows(text)
            yield table, rows
            for _ in rows:  # those that nobody took
                pass
    if text.next_sign():
        raise ValueError("something follows its end")


def _names(text: _Text, known: Mapping[str, object]) -> Iterator[str]:
    """The names of an object, each with its value still to be read."""
    text.take("{")
    if text.takes("}"):
        return
    while True:
        name = text.value()
        if not isinstance(name, str):
            raise ValueError(f"{name!r} is no name")
        if name in known:
            raise ValueError(f"{name!r} stands in it twice")
        text.take(":")
        yield name
        if not text.takes(","):
            break
    text.take("}")


def _rows(text: _Text) -> Iterator[object]:
    text.take("[")
    if text.takes("]"):
        return
    while True:
        yield text.value()
        if not text.takes(","):
            break
    text.take("]")
