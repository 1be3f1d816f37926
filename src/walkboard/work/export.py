"""The book as tables for other programs: CSV (RFC 4180), and a workbook (XLSX).

Units are in the column names. The complete export, from which a book can be rebuilt, is
`walkboard.book.copying.Copying.export_json`; the calendar is `work.calendar.events`.
"""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, BinaryIO, TypeAlias

from walkboard.book.readings import best_of
from walkboard.book.records import KeptOrgan
from walkboard.errors import InputError
from walkboard.work.write_files import write_file, writing

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

Value: TypeAlias = str | float | int | bool | datetime | None
_FORMULA = (
    "=",
    "+",
    "-",
    "@",
    "\t",
    "\r",
)  # characters that spreadsheets read as the start of a formula


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


def as_csv(one: Table) -> bytes:
    """A table as CSV in UTF-8; see `write_csv`."""
    data = io.BytesIO()
    write_csv(one, data)
    return data.getvalue()


def write_csv(one: Table, stream: BinaryIO) -> None:
    """Write a table as CSV in UTF-8, with column names in the first line.

    A text that a spreadsheet would read as a formula gets a leading apostrophe, because anyone may
    have written it.
    """
    text = io.TextIOWrapper(stream, encoding="utf-8", newline="")
    writer = csv.writer(text)  # ends lines as in RFC 4180
    writer.writerow(one.columns)
    for row in one.rows:
        writer.writerow([_cell(value) for value in row])
    text.flush()
    text.detach()  # the stream stays open


def as_workbook(book: Book, kept: KeptOrgan) -> bytes:
    """Every table of an organ as one XLSX file; see `write_workbook`."""
    data = io.BytesIO()
    write_workbook(book, kept, data)
    return data.getvalue()


def write_workbook(
    book: Book,
    kept: KeptOrgan,
    stream: BinaryIO,
    progress: Callable[[float, float], None] = lambda *_: None,
) -> None:
    """Write every table as a sheet of one XLSX file; texts are texts, never formulas.

    Parameters
    ----------
    book : Book
    kept : KeptOrgan
    stream : binary stream
    progress : callable
        Called with rows written and rows in all.
    """
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    total, done = book.count_readings(kept.id) + 1, 0  # the readings are by far the most
    made = Workbook(write_only=True)  # rows go to a file as they come
    for name in TABLES:
        one = table(book, kept, name)
        sheet = made.create_sheet(one.name)
        sheet.freeze_panes = "A2"
        heads = [WriteOnlyCell(sheet, column) for column in one.columns]
        for head in heads:
            head.font = Font(bold=True)
        sheet.append(heads)
        as_cell = _cells_of(sheet)
        for row in one.rows:
            sheet.append([as_cell(value) for value in row])
            done = min(done + 1, total - 1)
            progress(done, total)
    made.save(stream)
    progress(total, total)


def write_export(
    progress: Callable[[float, float], None], folder: Path, organ_id: int, to: Path
) -> None:
    """Write the workbook (.xlsx) or the whole book (.json) in another process.

    Parameters
    ----------
    progress : callable
        Called with the work done and the total.
    folder : Path
        The book's; it is opened here.
    organ_id : int
    to : Path
        The extension sets the format.
    """
    from walkboard.work import open_book

    with open_book.opened(folder) as book:
        if to.suffix == ".json":
            progress(0, 1)
            book.export_json(to)
        else:
            with writing(to, what="export") as stream:
                write_workbook(book, book.organ(organ_id), stream, progress)
    progress(1, 1)


def as_json(book: Book) -> bytes:
    """Every record of the book, of all its organs, as `Copying.export_json` writes them."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "book.json"
        book.export_json(target)
        return target.read_bytes()


def export_file(book: Book, kept: KeptOrgan, to: Path, *, table_name: str | None) -> Path:
    """Write a file in the format of its extension: .csv, .xlsx or .ics.

    Parameters
    ----------
    book : Book
    kept : KeptOrgan
        Whose tables or events.
    to : Path
    table_name : str or None
        Name of the table in a .csv file.

    Raises
    ------
    InputError
        If the extension is not one of these, no table is given, or the file cannot be written.
    """
    match to.suffix.lower():
        case ".csv":
            if table_name is None:
                raise InputError(
                    "A CSV file holds one table.", fix=f"Give --table: {', '.join(TABLES)}."
                )
            one = table(book, kept, table_name)
            with writing(to, what="export") as stream:
                write_csv(one, stream)
        case ".xlsx":
            with writing(to, what="export") as stream:
                write_workbook(book, kept, stream)
        case ".ics":
            from walkboard.work.calendar.events import calendar_bytes

            write_file(calendar_bytes(book, kept), to, what="export")
        case _:
            raise InputError(
                "The ending of the file does not say what to write.",
                where=str(to),
                fix="Use .json (the whole book), .xlsx, .csv or .ics.",
            )
    return to


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
    for visit in book.visits(kept.id):
        labels = book.recording_labels(visit.id)
        readings = book.readings(visit.id)
        counts = {one.id for one in best_of(readings, book.tuned_at(visit.id)).values()}
        for one in readings:
            label, reading = labels[one.recording_id], one.reading
            yield (
                visit.id,
                one.sounded_at,
                reading.pipe.rank,
                reading.pipe.number,
                None if one.key is None else one.key.name,
                " ".join(label.drawn),
                reading.cents_or_none,
                reading.sigma_cents_or_none,
                reading.hz_or_none,
                reading.level_db,
                label.air_celsius,
                " ".join(flag.value for flag in reading.flags),
                one.id in counts,
                label.file_name,
                one.hold,
                one.program_version,
            )


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


def _cell(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    return repr(value)


def _cells_of(sheet: object) -> Callable[[Value], object]:
    """What makes the cells of a sheet."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    def cell_of(value: Value) -> object:
        if isinstance(value, float):
            # As a text called a number: of a float the library writes 16 digits, and some need 17.
            cell = WriteOnlyCell(sheet, repr(value))
            cell.data_type = "n"
            return cell
        if isinstance(value, str):
            plain = ILLEGAL_CHARACTERS_RE.sub("", value)
            if not plain.startswith("="):
                return plain
            cell = WriteOnlyCell(sheet)
            cell.value = plain
            cell.data_type = "s"  # the library would take it for a formula
            return cell
        if isinstance(value, datetime):
            return value.replace(tzinfo=None)  # XLSX has no time zones: UTC, as in the CSV
        return value

    return cell_of
