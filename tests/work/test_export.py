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
        assert given == one.reading.cents  # the same number, bit for bit
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
        rows = list(opened[name].iter_rows(values_only=True))
        assert rows[0] == made.columns
        assert len(rows) == 1 + len(made.rows)
    readings = list(opened["readings"].iter_rows(values_only=True))[1:]
    given = [row[6] for row in readings]
    for cell, row in zip(given, table(book, kept, "readings").rows, strict=True):
        # openpyxl writes sixteen digits; a spreadsheet shows fifteen
        assert cell == (None if row[6] is None else pytest.approx(row[6], rel=1e-15))


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
