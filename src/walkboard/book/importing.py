"""Makes a book from the JSON that `Book.export_json` wrote, in this version or an older one."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, ValidationError
from sqlalchemy import Boolean, Connection, Float, Integer, column, insert, inspect, table
from sqlalchemy.exc import DataError, DBAPIError, IntegrityError, InterfaceError
from sqlalchemy.types import TypeEngine

from walkboard.book.copying import copy_sound
from walkboard.book.database.dialect import Database
from walkboard.book.export_reading import read_head, read_rows
from walkboard.book.files.folder import HEAD_REVISION, RECORDINGS, WAIT_S, Clock, building
from walkboard.book.keeping import Book
from walkboard.book.migrating import bring_up, build_tables, known_revisions
from walkboard.book.models import LEFT_OUT
from walkboard.book.opening import filling, open_book
from walkboard.book.records import BookProblem
from walkboard.book.rows import counting
from walkboard.errors import InputError
from walkboard.plausible import AIR_CELSIUS, HUMIDITY, VISIT_MINUTES, WIND_MM, Range

Value = int | float | str | None
_ROWS_AT_ONCE = 500  # held in memory while importing. Chosen.
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
    address: str | None = None,
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
    address : str or None
        As for `create_book`.
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
    with building(path) as part, filling(part, address) as database:
        build_tables(database, revision=head.form)
        _fill(database, head, source)
        (part / RECORDINGS).mkdir()
        bring_up(part, wait_s=wait_s, keeps_old=False)
        with open_book(part, clock=clock, wait_s=wait_s) as book:
            problems = book.check_records() or implausible(book)
            if problems:
                raise _damaged(source, "; ".join(map(str, problems)))
            if recordings is not None:
                for sound in book.sound_names():
                    copy_sound(recordings / sound[:2] / sound, book.sounds, sound.split(".")[0])
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
        if source.exists() and not source.is_file():  # it is read twice; a pipe might wait forever
            raise OSError("it is not a file")
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


def _fill(database: Database, head: _Head, source: Path) -> None:
    engine = database.engine(wait_s=WAIT_S)
    try:
        with database.for_writing(engine).connect() as connection, connection.begin():
            database.defer_references(connection)
            counting.drop(connection)  # counting each row takes longer than counting all at the end
            _fill_tables(connection, head, source)
            database.renumber(connection)
            if head.form == HEAD_REVISION:
                counting.install(connection)
    except (
        IntegrityError,
        DataError,
        InterfaceError,
        OverflowError,
        UnicodeEncodeError,  # half of a surrogate pair, which JSON allows and UTF-8 does not
    ) as error:
        raise _damaged(source, str(getattr(error, "orig", error))) from error
    except DBAPIError as error:
        raise database.trouble_of(error) or error from error
    finally:
        engine.dispose()


def _fill_tables(connection: Connection, head: _Head, source: Path) -> None:
    columns = _columns(connection)
    if columns.keys() != head.tables.keys():
        odd = columns.keys() ^ head.tables.keys()
        raise _damaged(source, f"its tables do not match its version: {', '.join(odd)}")
    with _reading(source):
        for name, rows in read_rows(source):
            if name not in columns:  # the file has changed since it was looked through
                raise _damaged(source, f"tables.{name}: no table of its form")
            # The names are the database's own, compared above, never the file's.
            into = insert(table(name, *(column(one) for one in columns[name])))
            values = _values(name, columns[name], rows, source)
            while some := list(islice(values, _ROWS_AT_ONCE)):
                connection.execute(into, some)


def _columns(connection: Connection) -> dict[str, dict[str, str]]:
    """The kind of each column of each table, as SQLite names it."""
    there = inspect(connection)
    return {
        name: {one["name"]: _kind_of(one["type"]) for one in there.get_columns(name)}
        for name in there.get_table_names()
        if name != "alembic_version" and name not in LEFT_OUT
    }


def _kind_of(type_: TypeEngine[Any]) -> str:
    match type_:
        case Boolean():
            return "BOOLEAN"
        case Integer():
            return "INTEGER"
        case Float():
            return "FLOAT"
        case _:
            return "TEXT"


def _values(
    table: str, columns: dict[str, str], rows: Iterator[object], source: Path
) -> Iterator[dict[str, Value]]:
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
        yield {
            name: bool(row[name]) if kind == "BOOLEAN" and row[name] is not None else row[name]
            for name, kind in columns.items()
        }


def _fits(value: object, kind: str) -> bool:
    if isinstance(value, bool) or (isinstance(value, float) and not math.isfinite(value)):
        return False
    return isinstance(value, _KINDS[kind]) and (kind != "BOOLEAN" or value in {0, 1})


def _damaged(source: Path, why: str) -> InputError:
    return InputError(
        f"This is not an export of a book, or it is damaged ({why}).",
        where=str(source),
        fix="Export the book again, or use another copy.",
    )
