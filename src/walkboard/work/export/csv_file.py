"""A table as CSV (RFC 4180), safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from datetime import datetime
from types import NoneType
from typing import BinaryIO

from walkboard.work.export.tables import Table, Value

# Characters that spreadsheets read as the start of a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
# What the csv module writes as `_cell` would: a float by its repr, None as nothing.
_PLAIN = frozenset({int, float, NoneType})


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
        writer.writerow([v if type(v) in _PLAIN else _cell(v) for v in row])
    text.flush()
    text.detach()  # the stream stays open


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
