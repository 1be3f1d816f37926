"""An organ's tables: their columns, with units in the names, and their rows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeAlias

from walkboard.book.records import KeptOrgan
from walkboard.errors import InputError

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

Value: TypeAlias = str | float | int | bool | datetime | None


@dataclass(frozen=True, slots=True)
class Table:
    """One table.

    Attributes
    ----------
    name : str
    columns : tuple of str
    rows : iterator of tuple of Value
        Read from the book visit by visit, and only once; instants in UTC.
    """

    name: str
    columns: tuple[str, ...]
    rows: Iterator[tuple[Value, ...]]


def table(book: Book, kept: KeptOrgan, name: str) -> Table:
    """One of the tables of an organ.

    Parameters
    ----------
    book : Book
    kept : KeptOrgan
    name : str
        One of `TABLES`.

    Raises
    ------
    InputError
        If there is no such table.
    """
    if name not in TABLES:
        raise InputError(
            f"There is no table {name!r}.", fix=f"The tables are: {', '.join(TABLES)}."
        )
    columns, rows_of = TABLES[name]
    return Table(name, columns, rows_of(book, kept))


def _visits(book: Book, kept: KeptOrgan) -> Iterator[tuple[Value, ...]]:
    for visit in book.visits(kept.id):
        states = [tick.state for tick in book.pipe_states(visit.id).values()]
        yield (
            visit.id,
            visit.opened_at,
            visit.closed_at,
            visit.purpose,
            visit.minutes,
            states.count("done"),
            states.count("skipped"),
            visit.closing_note,
            "\n".join(note.words for note in visit.notes),
        )


def _conditions(book: Book, kept: KeptOrgan) -> Iterator[tuple[Value, ...]]:
    for visit in book.visits(kept.id):
        for noted in visit.conditions:
            for division in sorted({*noted.air_celsius, *noted.wind_mm}) or [""]:
                yield (
                    visit.id,
                    noted.noted_at,
                    division,
                    noted.air_celsius.get(division),
                    noted.humidity,
                    noted.wind_mm.get(division),
                )


def _readings(book: Book, kept: KeptOrgan) -> Iterator[tuple[Value, ...]]:
    for line in book.reading_lines(kept.id):
        yield (
            line.visit_id,
            line.sounded_at,
            line.rank,
            line.number,
            None if line.key is None else line.key.name,
            _joined(line.drawn),
            *line[6:11],
            _joined(line.flags),
            *line[12:],
        )


@lru_cache(maxsize=256)
def _joined(words: tuple[str, ...]) -> str:
    return " ".join(words)


def _works(book: Book, kept: KeptOrgan) -> Iterator[tuple[Value, ...]]:
    for visit in book.visits(kept.id):
        plan = book.current_plan(visit.id)
        planned = {} if plan is None else {item.pipe: item for item in plan.plan.items}
        ticked = book.pipe_states(visit.id)
        for pipe in [*planned, *(p for p in ticked if p not in planned)]:
            item, tick = planned.get(pipe), ticked.get(pipe)
            yield (
                visit.id,
                pipe.rank,
                pipe.number,
                None if item is None else item.order,
                None if item is None else item.cents,
                None if item is None else item.target_hz,
                None if item is None else item.move,
                None if item is None else item.minutes,
                None if item is None else item.why,
                "open" if tick is None else tick.state,
                None if tick is None else tick.at,
                None if tick is None else tick.note,
                None if tick is None else tick.device,
            )


def _faults(book: Book, kept: KeptOrgan) -> Iterator[tuple[Value, ...]]:
    for fault in book.faults(kept.id):
        yield (
            fault.id,
            fault.reported_at,
            fault.kind,
            fault.stop,
            fault.key,
            None if fault.pipe is None else fault.pipe.rank,
            None if fault.pipe is None else fault.pipe.number,
            fault.words,
            fault.reporter,
            fault.mended_at,
            fault.mended_in_visit,
            fault.mended_note,
            fault.double_of,
            fault.again_of,
        )


def _events(book: Book, kept: KeptOrgan) -> Iterator[tuple[Value, ...]]:
    for event in book.events(kept.id):
        yield (
            event.starts_at,
            event.title,
            " ".join(event.stops),
            event.air_celsius,
            event.cancelled,
            event.uid,
        )


TABLES = MappingProxyType[
    str, tuple[tuple[str, ...], "Callable[[Book, KeptOrgan], Iterator[tuple[Value, ...]]]"]
](
    {
        "visits": (
            ("visit", "opened_at", "closed_at", "purpose", "minutes", "pipes_done",
             "pipes_skipped", "closing_note", "notes"),
            _visits,
        ),
        "conditions": (
            ("visit", "noted_at", "division", "air_celsius", "humidity", "wind_mm"),
            _conditions,
        ),
        "readings": (
            ("visit", "sounded_at", "rank", "pipe_number", "key", "drawn", "cents",
             "sigma_cents", "hz", "level_db", "air_celsius", "flags", "counts", "recording",
             "hold", "program_version"),
            _readings,
        ),
        "works": (
            ("visit", "rank", "pipe_number", "order", "cents", "target_hz", "move", "minutes",
             "why", "state", "ticked_at", "note", "device"),
            _works,
        ),
        "faults": (
            ("fault", "reported_at", "kind", "stop", "key", "rank", "pipe_number", "words",
             "reporter", "mended_at", "mended_in_visit", "mended_note", "double_of", "again_of"),
            _faults,
        ),
        "events": (
            ("starts_at", "title", "stops", "air_celsius", "cancelled", "uid"),
            _events,
        ),
    }
)  # fmt: skip
"""Each table's columns, and the function that yields its rows."""
