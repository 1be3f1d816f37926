"""Makes a book from the JSON that `Book.export_json` wrote, in this version or an older one."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from walkboard.book.copying import copy_sound
from walkboard.book.export_reading import read_head, read_rows
from walkboard.book.folder import DATABASE, RECORDINGS, WAIT_S, Clock, building
from walkboard.book.keeping import Book
from walkboard.book.migrating import build_database, known_revisions
from walkboard.book.models import LEFT_OUT
from walkboard.book.opening import open_book
from walkboard.book.records import BookProblem
from walkboard.errors import InputError
from walkboard.plausible import AIR_CELSIUS, HUMIDITY, VISIT_MINUTES, WIND_MM, Range

Value = int | float | str | None
_KINDS: dict[str, tuple[type, ...]] = {
    "INTEGER": (int,),
    "BOOLEAN": (int,),
    "FLOAT": (int, float),
    "TEXT": (str,),
}


class _Head(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)

    format: Literal["walkboard book"]
    form: str
    program_version: str
    exported_at: str
    tables: dict[str, None]  # the names; rows are read one by one


def import_book(
    source: Path,
    path: Path,
    *,
    clock: Clock,
    recordings: Path | None = None,
    wait_s: float = WAIT_S,
) -> Book:
    """Make a new book from an export, and open it.

    Parameters
    ----------
    source : Path
        The JSON file.
    path : Path
        The new book's folder: must not exist, or be empty.
    clock : callable
        Returns the current time, time-zone aware.
    recordings : Path or None
        The ``recordings`` folder of the old book; every intact file in it is copied. Without it the
        new book has no sound, and its `check` says so.
    wait_s : float
        As for `open_book`.

    Raises
    ------
    InputError
        When the file is not an export, is damaged, or holds a figure that is out of range; nothing
        is left behind.
    BookError
        When the new book cannot be written.
    """
    head = _read_head(source)
    path = path.absolute()
    with building(path) as part:
        build_database(part / DATABASE, revision=head.form)
        _fill(part / DATABASE, head, source)
        (part / RECORDINGS).mkdir()
        with open_book(part, clock=clock, wait_s=wait_s) as book:
            problems = book.check_records() or implausible(book)
            if problems:
                raise _damaged(source, "; ".join(map(str, problems)))
            if recordings is not None:
                for sound in book.sound_names():
                    copy_sound(recordings / sound[:2] / sound, book.sounds, sound.split(".")[0])
        (part / f"book-of-form-{head.form}.sqlite").unlink(missing_ok=True)
    return open_book(path, clock=clock, wait_s=wait_s)


def implausible(book: Book) -> tuple[BookProblem, ...]:
    """Figures in an imported book that are out of range."""
    problems: list[BookProblem] = []

    def check(kind: Range, value: float | None, where: str) -> None:
        if value is not None and value not in kind:
            what = f"{kind.what} of {value:g} {kind.unit} is out of range."
            problems.append(BookProblem(where, what, "Correct it in the file."))

    for organ in book.organs():
        for event in book.events(organ.id):
            for celsius in (event.air_celsius, *event.air_by_division.values()):
                check(AIR_CELSIUS, celsius, f"event {event.uid}")
        for visit in book.visits(organ.id):
            check(VISIT_MINUTES, visit.minutes, f"visit {visit.id}")
            for noted in visit.conditions:
                check(HUMIDITY, noted.humidity, f"visit {visit.id}")
                for celsius in noted.air_celsius.values():
                    check(AIR_CELSIUS, celsius, f"visit {visit.id}")
                for wind in noted.wind_mm.values():
                    check(WIND_MM, wind, f"visit {visit.id}")
            for celsius in book.recording_airs(visit.id).values():
                check(AIR_CELSIUS, celsius, f"visit {visit.id}")
    return tuple(problems)


def _read_head(source: Path) -> _Head:
    with _reading(source):
        given = read_head(source)
        try:
            head = _Head.model_validate(given)
        except ValidationError as error:
            first = error.errors()[0]
            place = ".".join(map(str, first["loc"]))
            raise _damaged(source, f"{place}: {first['msg']}") from error
    if head.form not in known_revisions():
        raise InputError(
            f"The export has a newer version ({head.form}) than this program can read.",
            where=str(source),
            fix="Import it with a newer version of the program.",
        )
    return head


@contextmanager
def _reading(source: Path) -> Iterator[None]:
    """Turns what reading an export raises into `InputError`."""
    try:
        yield
    except OSError as error:
        raise InputError(
            f"The export cannot be read ({error.strerror or error}).",
            where=str(source),
            fix="Check the name and that you may read it.",
        ) from error
    except (ValueError, RecursionError) as error:  # broken JSON, broken UTF-8, nested without end
        raise _damaged(source, str(error)) from error


def _fill(database: Path, head: _Head, source: Path) -> None:
    with closing(sqlite3.connect(database)) as connection:
        connection.execute("PRAGMA foreign_keys = ON")
        columns = _columns(connection)
        if columns.keys() != head.tables.keys():
            odd = columns.keys() ^ head.tables.keys()
            raise _damaged(source, f"its tables do not match its version: {', '.join(odd)}")
        try:
            with _reading(source), connection:
                connection.execute("PRAGMA defer_foreign_keys = ON")
                for table, rows in read_rows(source):
                    if table not in columns:  # the file has changed since it was looked through
                        raise _damaged(source, f"tables.{table}: no table of its form")
                    names = list(columns[table])
                    marks = ", ".join("?" * len(names))
                    quoted = ", ".join(f'"{name}"' for name in names)
                    connection.executemany(
                        # The names are the database's own, compared above, never the file's.
                        f'INSERT INTO "{table}" ({quoted}) VALUES ({marks})',  # noqa: S608
                        _values(table, columns[table], rows, source),
                    )
        except (
            sqlite3.IntegrityError,
            sqlite3.DataError,
            sqlite3.InterfaceError,
            OverflowError,
            UnicodeEncodeError,  # half of a surrogate pair, which JSON allows and UTF-8 does not
        ) as error:
            raise _damaged(source, str(error)) from error


def _columns(connection: sqlite3.Connection) -> dict[str, dict[str, str]]:
    tables = connection.execute(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name != 'alembic_version'"
    ).fetchall()
    return {
        table: {
            name: kind for _, name, kind, *_ in connection.execute(f'PRAGMA table_info("{table}")')
        }
        for (table,) in tables
        if table not in LEFT_OUT
    }


def _values(
    table: str, columns: dict[str, str], rows: Iterator[object], source: Path
) -> Iterator[list[Value]]:
    for place, row in enumerate(rows):
        if not isinstance(row, dict):
            raise _damaged(source, f"tables.{table}.{place}: it is no row")
        if row.keys() != columns.keys():
            odd = ", ".join(sorted(row.keys() ^ columns.keys()))
            raise _damaged(source, f"tables.{table}.{place}: fields missing or unknown: {odd}")
        for name, value in row.items():
            if value is not None and not _fits(value, columns[name]):
                raise _damaged(
                    source, f"tables.{table}.{place}.{name}: {value!r} is not {columns[name]}"
                )
        yield [row[name] for name in columns]


def _fits(value: object, kind: str) -> bool:
    if isinstance(value, bool) or (isinstance(value, float) and not math.isfinite(value)):
        return False
    return isinstance(value, _KINDS[kind])


def _damaged(source: Path, why: str) -> InputError:
    return InputError(
        f"This is not an export of a book, or it is damaged ({why}).",
        where=str(source),
        fix="Export the book again, or use another copy.",
    )
