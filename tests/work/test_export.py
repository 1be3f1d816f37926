"""The book as tables: CSV read by the standard library, XLSX by openpyxl, both the same numbers."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime
from pathlib import Path

import openpyxl
import pytest

from tests.desk.books import make_book
from walkboard.book.keeping import Book
from walkboard.book.records import FaultKind, KeptOrgan
from walkboard.errors import InputError
from walkboard.organ import examples
from walkboard.work import open_book
from walkboard.work.export import TABLES, as_csv, as_json, as_workbook, export_file, table

FORMULA = '=HYPERLINK("http://x")'


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("export") / "book"
    make_book(folder, examples.village(), visits=2, sounding=0)
    with open_book.opened(folder) as opened:
        kept = opened.organs()[0]
        opened.report_fault(kept.id, FaultKind.OTHER, FORMULA, reporter="@cmd")
        opened.keep_event(kept.id, "u", datetime(2031, 4, 1, 18, tzinfo=UTC), "Recital, “late”\nx")
        yield opened


@pytest.fixture(scope="module")
def kept(book: Book) -> KeptOrgan:
    return book.organs()[0]


def read(data: bytes) -> list[dict[str, str]]:
    assert b"\r\n" in data  # RFC 4180, 2.1
    return list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline="")))


def test_readings_come_out_as_they_are_in_the_book(book: Book, kept: KeptOrgan) -> None:
    rows = read(as_csv(table(book, kept, "readings")))
    every = [r for visit in book.visits(kept.id) for r in book.readings(visit.id)]
    assert len(rows) == len(every)
    for row, one in zip(rows, every, strict=True):
        assert (row["rank"], int(row["pipe_number"])) == (
            one.reading.pipe.rank,
            one.reading.pipe.number,
        )
        given = None if row["cents"] == "" else float(row["cents"])
        assert given == one.reading.cents_or_none  # the same number, bit for bit
    counting = [row for row in rows if row["counts"] == "yes"]
    assert len(counting) == sum(len(book.best_readings(v.id)) for v in book.visits(kept.id))


def test_works_say_what_was_planned_and_what_became_of_it(book: Book, kept: KeptOrgan) -> None:
    rows = read(as_csv(table(book, kept, "works")))
    first, last = book.visits(kept.id)
    plan = book.current_plan(first.id)
    assert plan is not None
    done = [row for row in rows if row["visit"] == str(first.id)]
    assert [row["order"] for row in done] == [str(item.order) for item in plan.plan.items]
    assert {row["state"] for row in done} == {"done"}
    assert {row["state"] for row in rows if row["visit"] == str(last.id)} == {"open"}


def test_what_strangers_write_is_no_formula_anywhere(book: Book, kept: KeptOrgan) -> None:
    """CSV injection, as OWASP describes it."""
    (row,) = [r for r in read(as_csv(table(book, kept, "faults"))) if "HYPERLINK" in r["words"]]
    assert (row["words"], row["reporter"]) == (f"'{FORMULA}", "'@cmd")
    opened = openpyxl.load_workbook(io.BytesIO(as_workbook(book, kept)))
    cells = [c for line in opened["faults"].iter_rows() for c in line if c.value == FORMULA]
    assert [cell.data_type for cell in cells] == ["s"]


def test_the_workbook_has_every_table_with_the_same_rows(book: Book, kept: KeptOrgan) -> None:
    opened = openpyxl.load_workbook(io.BytesIO(as_workbook(book, kept)), read_only=True)
    assert opened.sheetnames == list(TABLES)
    for name in TABLES:
        made = table(book, kept, name)
        expected = list(made.rows)
        rows = list(opened[name].iter_rows(values_only=True))
        assert rows[0] == made.columns
        assert len(rows) == 1 + len(expected)
    readings = list(opened["readings"].iter_rows(values_only=True))[1:]
    given = [row[6] for row in readings]
    for cell, row in zip(given, table(book, kept, "readings").rows, strict=True):
        assert cell == row[6]


def test_a_table_longer_than_a_sheet_goes_on_in_another(
    book: Book, kept: KeptOrgan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("walkboard.work.export.workbook._MOST_ROWS", 40)
    rows = len(list(table(book, kept, "readings").rows))
    opened = openpyxl.load_workbook(io.BytesIO(as_workbook(book, kept)), read_only=True)
    sheets = [opened[name] for name in opened.sheetnames if name.startswith("readings")]
    assert len(sheets) == -(-rows // 40) > 1
    columns = table(book, kept, "readings").columns
    read = [list(sheet.iter_rows(values_only=True)) for sheet in sheets]
    assert all(lines[0] == columns and len(lines) <= 41 for lines in read)
    assert sum(len(lines) - 1 for lines in read) == rows


def test_line_ends_commas_and_quotes_stay_in_their_cell(book: Book, kept: KeptOrgan) -> None:
    titles = [row["title"] for row in read(as_csv(table(book, kept, "events")))]
    assert "Recital, “late”\nx" in titles


def test_json_holds_every_record(book: Book) -> None:
    document = json.loads(as_json(book))
    assert document["format"] == "walkboard book"
    assert len(document["tables"]["reading"]) > 500


def test_the_ending_of_a_file_says_its_form(book: Book, kept: KeptOrgan, tmp_path: Path) -> None:
    for name, begins in (("a.xlsx", b"PK"), ("a.ics", b"BEGIN:VCALENDAR"), ("a.csv", b"visit,")):
        to = export_file(book, kept, tmp_path / name, table_name="readings")
        assert to.read_bytes().startswith(begins)
    with pytest.raises(InputError, match=r"holds one table\. Give --table: visits"):
        export_file(book, kept, tmp_path / "a.csv", table_name=None)
    with pytest.raises(InputError, match="no table 'x'"):
        export_file(book, kept, tmp_path / "a.csv", table_name="x")
    with pytest.raises(InputError, match="ending of the file"):
        export_file(book, kept, tmp_path / "a.doc", table_name=None)


def test_every_digit_and_every_fraction_of_a_second_comes_out(book: Book, kept: KeptOrgan) -> None:
    at = datetime(2031, 4, 2, 18, 0, 0, 123_456, tzinfo=UTC)
    odd = (0.1 + 0.2) * 50.0  # 17 digits
    book.keep_event(kept.id, "exact", at, "Recital", air_celsius=odd)
    (row,) = [r for r in read(as_csv(table(book, kept, "events"))) if r["uid"] == "exact"]
    assert datetime.fromisoformat(row["starts_at"]) == at
    assert float(row["air_celsius"]) == odd
    opened = openpyxl.load_workbook(io.BytesIO(as_workbook(book, kept)), read_only=True)
    values = {row[5]: row[3] for row in opened["events"].iter_rows(min_row=2, values_only=True)}
    assert values["exact"] == odd


def test_a_file_that_cannot_be_finished_leaves_the_old_one(
    book: Book, kept: KeptOrgan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "visits.csv"
    target.write_bytes(b"old")

    def no_room(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("walkboard.work.write_files.os.fsync", no_room)
    with pytest.raises(InputError, match="No space left"):
        export_file(book, kept, target, table_name="visits")
    assert target.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [target]
    monkeypatch.undo()
    export_file(book, kept, target, table_name="visits")
    assert target.read_bytes().startswith(b"visit,")
