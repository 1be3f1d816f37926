"""Photographs in a visit's report: with their rights, of the visit and of open faults."""

from __future__ import annotations

import io
import shutil
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest

from tests.work.chapel import chapel_book
from walkboard.book.keeping import Book
from walkboard.book.records import FaultKind
from walkboard.languages import spoken
from walkboard.organ.reading import read_organ
from walkboard.sheets.keyholder import full_stop_words
from walkboard.work import faults, open_book, print_sheets


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pictures") / "book"
    chapel_book(folder)
    return folder


@pytest.fixture
def book(made: Path, tmp_path: Path) -> Iterator[Book]:
    with open_book.opened(Path(shutil.copytree(made, tmp_path / "book"))) as opened:
        yield opened


def png(shade: int) -> bytes:
    """Eight by eight pixels of one shade (W3C PNG, 3rd edition)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        checked = kind + data
        return struct.pack(">I", len(data)) + checked + struct.pack(">I", zlib.crc32(checked))

    head = struct.pack(">IIBBBBB", 8, 8, 8, 0, 0, 0, 0)
    rows = zlib.compress((b"\0" + bytes([shade]) * 8) * 8)
    start = b"\x89PNG\r\n\x1a\n"
    return start + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def report(book: Book, folder: Path) -> pypdf.PdfReader:
    organ = read_organ(book.organ(1).description)
    to = print_sheets.print_report(book, organ, book.visit(1), folder / "report.pdf")
    return pypdf.PdfReader(io.BytesIO(to.read_bytes()))


def text_of(read: pypdf.PdfReader) -> str:
    return " ".join(page.extract_text() for page in read.pages)


def pictures_in(read: pypdf.PdfReader) -> int:
    return sum(len(page.images) for page in read.pages)


def keep(book: Book, folder: Path, name: str, data: bytes, **about: object) -> None:
    (folder / name).write_bytes(data)
    book.keep_photograph(1, folder / name, **about)  # type: ignore[arg-type]


def test_photographs_of_the_visit_and_of_its_faults_are_printed_with_their_rights(
    book: Book, tmp_path: Path
) -> None:
    fault = book.report_fault(1, FaultKind.BENT_PIPE, "leans")
    keep(book, tmp_path, "a.png", png(10), shows="A loose slide", rights="Ours", visit_id=1)
    keep(book, tmp_path, "b.png", png(90), shows="The pipe", rights="Theirs", fault_id=fault.id)
    keep(book, tmp_path, "c.png", png(99), shows="The nave", rights="Ours")  # of no visit
    keep(book, tmp_path, "d.png", png(60), shows="A secret", visit_id=1)  # nobody has agreed
    read = report(book, tmp_path)
    said = text_of(read)
    assert "A loose slide (Ours)" in said
    assert "The pipe (Theirs)" in said
    assert "The nave" not in said
    assert "A secret" not in said
    assert pictures_in(read) == 2


def test_a_photograph_that_breaks_off_is_named_and_the_report_is_whole(
    book: Book, tmp_path: Path
) -> None:
    whole = png(10)
    keep(book, tmp_path, "a.png", whole[:40], shows="A torn one", rights="Ours", visit_id=1)
    keep(book, tmp_path, "b.png", whole, shows="A whole one", rights="Ours", visit_id=1)
    read = report(book, tmp_path)
    assert "Photographs that cannot be drawn" in text_of(read)
    assert "A torn one" in text_of(read)
    assert pictures_in(read) == 1


def test_no_more_than_a_few_are_printed_and_those_the_newest(book: Book, tmp_path: Path) -> None:
    for n in range(8):
        keep(book, tmp_path, f"{n}.png", png(n), shows=f"View {n}", rights="Ours", visit_id=1)
    said = text_of(report(book, tmp_path))
    assert [n for n in range(8) if f"View {n}" in said] == [2, 3, 4, 5, 6, 7]


def test_a_report_without_photographs_says_nothing_of_them(book: Book, tmp_path: Path) -> None:
    assert "Photograph" not in text_of(report(book, tmp_path))


def test_faults_are_placed_in_words_and_found_in_the_readers_language(
    book: Book, tmp_path: Path
) -> None:
    organ = read_organ(book.organ(1).description)
    stop = organ.stops[0]
    faults.report(
        book, book.organ(1), organ, FaultKind.DEAD_NOTE, faults.found_in("nave.wav"),
        stop=stop.id, key="C4",
    )  # fmt: skip
    faults.report(book, book.organ(1), organ, FaultKind.RATTLE, "Found at the pipe, says Ada.")
    book.report_fault(1, FaultKind.CIPHER, "since Easter", stop="great.gone8", key="D4")
    with spoken.speaking("de"):
        said = " ".join(text_of(report(book, tmp_path)).split())
    assert "In der Aufnahme nave.wav gefunden." in said
    assert "Found at the pipe, says Ada." in said  # somebody's own words
    assert f"{full_stop_words(organ, stop)} c′" in said  # as Germans name C4
    assert stop.id not in said
    assert "great.gone8 d′" in said  # a stop of an older description
