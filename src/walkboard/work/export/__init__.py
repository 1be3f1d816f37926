"""The book as files for other programs: CSV, a workbook (XLSX), the calendar, the whole as JSON.

`tables` has an organ's tables, `csv_file` and `workbook` write them, `files` chooses by extension.
The complete export, from which a book can be rebuilt, is
`walkboard.book.copying.Copying.export_json`; the calendar is `work.calendar.events`.
"""

from walkboard.work.export.csv_file import as_csv
from walkboard.work.export.files import as_json, export_file, write_export
from walkboard.work.export.tables import TABLES, table
from walkboard.work.export.workbook import as_workbook

__all__ = [
    "TABLES",
    "as_csv",
    "as_json",
    "as_workbook",
    "export_file",
    "table",
    "write_export",
]
