"""Exports as files, by their extension, and the whole book as JSON."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.book.records import KeptOrgan
from walkboard.errors import InputError
from walkboard.work.export.csv_file import write_csv
from walkboard.work.export.tables import TABLES, table
from walkboard.work.export.workbook import write_workbook
from walkboard.work.write_files import write_file, writing

if TYPE_CHECKING:
    from walkboard.book.keeping import Book


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
