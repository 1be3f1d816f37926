"""Every table of an organ as a sheet of one workbook (XLSX)."""

from __future__ import annotations

import io
import re
import tempfile
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, BinaryIO

from walkboard.book.records import KeptOrgan
from walkboard.work.export.tables import TABLES, Value, table

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

# XML 1.0 allows these control characters nowhere (www.w3.org/TR/xml, 2.2).
_NOT_IN_XML = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_LONGEST_TEXT = 32_767  # characters of a cell (ECMA-376 leaves it to the program; all stop here)
_MOST_ROWS = 1_048_575  # below the heads; a sheet has 2^20 rows, and the library drops what follows
_AS_DATE = "yyyy-mm-dd hh:mm:ss"
_SHOWN_EVERY = 1000  # rows between two reports of progress. Chosen.


class _Exact(float):
    """A float that is written with every digit: the library writes 16, and some need 17."""

    __slots__ = ()

    def __format__(self, _: str) -> str:
        return float.__repr__(self)


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

    A table with more rows than a sheet can have goes on in another sheet.

    Parameters
    ----------
    book : Book
    kept : KeptOrgan
    stream : binary stream
    progress : callable
        Called with rows written and rows in all.
    """
    from xlsxwriter import Workbook

    total, done = book.count_readings(kept.id) + 1, 0  # the readings are by far the most
    with tempfile.TemporaryDirectory() as folder:
        # Rows go to a file as they come.
        made = Workbook(stream, {"constant_memory": True, "tmpdir": folder})
        bold, date = made.add_format({"bold": True}), made.add_format({"num_format": _AS_DATE})
        for name in TABLES:
            one = table(book, kept, name)
            sheet = _sheet(made, one.name, one.columns, bold)
            for n, row in enumerate(one.rows):
                number, place = divmod(n, _MOST_ROWS)
                if number and not place:
                    sheet = _sheet(made, f"{one.name} {number + 1}", one.columns, bold)
                for column, value in enumerate(row):
                    _write(sheet, place + 1, column, value, date)
                done = min(done + 1, total - 1)
                if done % _SHOWN_EVERY == 0:
                    progress(done, total)
        made.close()
    progress(total, total)


def _sheet(made: Any, name: str, columns: Sequence[str], bold: object) -> Any:
    sheet = made.add_worksheet(name)
    sheet.freeze_panes(1, 0)
    for column, head in enumerate(columns):
        sheet.write_string(0, column, head, bold)
    return sheet


def _write(sheet: Any, row: int, column: int, value: Value, date: object) -> None:
    """Write one cell; an empty one takes no place in the file."""
    match value:
        case bool():
            sheet.write_boolean(row, column, value)
        case float():
            sheet.write_number(row, column, _Exact(value))
        case int():
            sheet.write_number(row, column, value)
        case datetime():  # XLSX has no time zones: UTC, as in the CSV
            sheet.write_datetime(row, column, value.replace(tzinfo=None), date)
        case str() if value:
            sheet.write_string(row, column, _NOT_IN_XML.sub("", value)[:_LONGEST_TEXT])
