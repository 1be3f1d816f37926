"""A description from a stop list in a file: text, CSV or a spreadsheet."""

from __future__ import annotations

import lzma
import zipfile
import zlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from walkboard.errors import DescriptionError, InputError, Problem
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.organ.stoplist.changes import Change
from walkboard.organ.stoplist.describing import describe
from walkboard.organ.stoplist.entries import Row
from walkboard.organ.stoplist.reading import read_stop_list
from walkboard.organ.stoplist.tables import lines_of
from walkboard.work.organ_files import cannot_read

ZIP = b"PK\x03\x04"
_LARGEST_UNPACKED_BYTES = 100 << 20  # of a workbook, whose sheets pack a hundredfold. Chosen.
LARGEST_BYTES = 1 << 20  # the longest known stop list has 15 kB; chosen, with room for a workbook


@dataclass(frozen=True, slots=True)
class FromStops:
    """Result of reading a stop list.

    Attributes
    ----------
    toml : str
        The description.
    rows : tuple of Row
        What each line was taken for.
    ids : mapping of str to str
        Id in the description of each row, by the line's id.
    organ : Organ or None
        None if the description still has problems.
    problems : tuple of Problem
        Problems of the description.
    """

    toml: str
    rows: tuple[Row, ...]
    ids: Mapping[str, str]
    organ: Organ | None
    problems: tuple[Problem, ...]


def organ_from_stops(text: str, changes: Mapping[str, Change] = MappingProxyType({})) -> FromStops:
    """Describe the organ of a stop list.

    Parameters
    ----------
    text : str
    changes : mapping of str to Change
        Corrections of lines, by the line's id.
    """
    made = describe(read_stop_list(text, changes))
    try:
        organ = read_organ(made.toml)
    except DescriptionError as error:
        return FromStops(made.toml, made.rows, made.ids, None, error.problems)
    return FromStops(made.toml, made.rows, made.ids, organ, ())


def read_stops(path: Path) -> str:
    """The text of a stop list in a file: plain text, CSV, or the first sheet of an XLSX workbook.

    Raises
    ------
    InputError
        If the file cannot be read, is too large, or is neither text nor a workbook.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise cannot_read(path, error) from None
    return text_of_stops(data, str(path))


def text_of_stops(data: bytes, where: str) -> str:
    """The text of a stop list in bytes, as `read_stops`."""
    if len(data) > LARGEST_BYTES:
        raise InputError(
            "The file is too large for a stop list.", where=where, fix="Give the list alone."
        )
    if data.startswith(ZIP):
        return _sheet(data, where)
    for encoding in ("utf-8-sig", "cp1252"):  # older spreadsheets save CSV in the second
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text
    raise InputError(
        "This is neither text nor a spreadsheet.",
        where=where,
        fix="Save the list as text, CSV or XLSX.",
    )


def _sheet(data: bytes, where: str) -> str:
    """The first sheet of a workbook, with tabs between cells."""
    import io

    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            if sum(one.file_size for one in packed.infolist()) > _LARGEST_UNPACKED_BYTES:
                raise ValueError("unpacked it is too large for a stop list")
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        rows = list(book.worksheets[0].iter_rows(values_only=True, max_row=2000, max_col=30))
    except (
        InvalidFileException,
        zipfile.BadZipFile,
        zlib.error,
        lzma.LZMAError,
        SyntaxError,  # of its XML
        LookupError,
        ValueError,
        TypeError,
        AttributeError,
        ArithmeticError,
        EOFError,
        OSError,
        RuntimeError,  # it has a password, or an unknown compression
    ) as error:  # fmt: skip - the library raises all of these
        raise InputError(
            f"The workbook cannot be read: {error}.", where=where, fix="Save it as XLSX again."
        ) from None
    lines = ["\t".join("" if cell is None else str(cell) for cell in row) for row in rows]
    return "\n".join(line.rstrip("\t") for line in lines)


def changes_by_line(text: str, changes: Mapping[str, Change]) -> dict[str, Change]:
    """Changes by the lines' ids, from changes by `row_keys`, so that they stay with their line.

    Parameters
    ----------
    text : str
        The list.
    changes : mapping of str to Change
        By the line as written and its repeat count, as ``Trumpet 8#2``.
    """
    found: dict[str, Change] = {}
    seen: Counter[str] = Counter()
    for line in lines_of(text):
        seen[line.text] += 1
        change = changes.get(f"{line.text}#{seen[line.text]}")
        if change is not None:
            found[line.id] = change
    return found


def row_keys(rows: Sequence[Row]) -> list[str]:
    """The key of each row, by which the page keeps its changes."""
    seen: Counter[str] = Counter()
    keys = []
    for row in rows:
        seen[row.line.text] += 1
        keys.append(f"{row.line.text}#{seen[row.line.text]}")
    return keys
