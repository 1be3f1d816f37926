"""What killed programs left in a book's folder or beside it, and removing it.

A folder being built by a running program is never a leftover: the builder holds a lock on it, which
the system releases when the program ends, however it ends.
"""

from __future__ import annotations

import re
import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from walkboard.book.files import trouble
from walkboard.book.files.folder import BUILDING_LOCK, INCOMING, RECORDINGS, hold_lock

OLD_S = 86_400.0  # a copy still being written is never a day old. Chosen.
_BUILDING = re.compile(r"\..*\.[0-9a-f]{32}\.new", re.DOTALL)
_PART = re.compile(r"\..+\.part", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Leftover:
    """Something unfinished.

    Attributes
    ----------
    path : Path
    what : str
        What it is, in a sentence.
    bytes : int
        Its size.
    """

    path: Path
    what: str
    bytes: int


def leftovers(place: Path, *, now_s: float | None = None) -> tuple[Leftover, ...]:
    """What killed programs left in a folder, in the recordings in it, and beside it.

    Parameters
    ----------
    place : Path
        A book's folder, or the folder where a book was being made.
    now_s : float or None
        The current time [s since the epoch]; None for the system clock.

    Raises
    ------
    BookError
        When the folder cannot be read.
    """
    now_s = time.time() if now_s is None else now_s
    try:
        return tuple(sorted(_found(place.absolute(), now_s), key=lambda one: one.path))
    except OSError as error:
        raise trouble.of_disk(error, place) from error


def remove_leftovers(found: tuple[Leftover, ...]) -> None:
    """Remove them.

    Raises
    ------
    BookError
        If one cannot be removed; those before it are gone.
    """
    for one in found:
        try:
            if one.path.is_dir():
                shutil.rmtree(one.path)
            else:
                one.path.unlink(missing_ok=True)
        except OSError as error:
            raise trouble.of_disk(error, one.path) from error


def _found(place: Path, now_s: float) -> Iterator[Leftover]:
    for folder in (place, place.parent):
        if not folder.is_dir():
            continue
        for path in folder.iterdir():
            if path.is_dir() and _BUILDING.fullmatch(path.name) and not _is_at_work(path):
                what = "A program was killed while making or copying a book."
                yield Leftover(path, what, _size(path))
    for folder in (place, place / "worked-out"):
        if folder.is_dir():
            yield from _parts(folder, now_s, "A program was killed while writing this file.")
    incoming = place / RECORDINGS / INCOMING
    if incoming.is_dir():
        what = "A program was killed while importing a recording."
        for path in incoming.glob("*.part"):
            if now_s - path.stat().st_mtime > OLD_S:
                yield Leftover(path, what, _size(path))


def _parts(folder: Path, now_s: float, what: str) -> Iterator[Leftover]:
    for path in folder.iterdir():
        if _PART.fullmatch(path.name) and path.is_file() and now_s - path.stat().st_mtime > OLD_S:
            yield Leftover(path, what, _size(path))


def _is_at_work(folder: Path) -> bool:
    lock = folder / BUILDING_LOCK
    if not lock.exists():
        return False
    try:
        held = hold_lock(lock)
    except sqlite3.Error:
        return False  # a lock file that was cut short: nobody holds it
    if held is None:
        return True
    with closing(held):
        return False


def _size(path: Path) -> int:
    files = path.rglob("*") if path.is_dir() else [path]
    return sum(file.stat().st_size for file in files if file.is_file())
