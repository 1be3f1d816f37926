"""What can be seen of a book before it is opened."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from tests.book.making import DESCRIPTION, Clock
from walkboard.book.files.folder import DATABASE, HEAD_REVISION
from walkboard.book.glance import glance
from walkboard.book.keeping import Book
from walkboard.book.records import Conditions, FaultKind, KeptVisit, Tick, TickState
from walkboard.errors import BookError
from walkboard.organ.model import PipeRef

Change = Callable[[Book, KeptVisit], object]
PIPE = PipeRef("great.principal8", 1)
CHANGES: dict[str, Change] = {
    "a tick": lambda book, visit: book.set_tick(
        Tick("a-tick", visit.id, PIPE, TickState.DONE.value, "", Clock()())
    ),
    "conditions": lambda book, visit: book.note_conditions(visit.id, Conditions({}, 0.5)),
    "a fault": lambda book, visit: book.report_fault(visit.organ_id, FaultKind.CIPHER, "Hums"),
    "a description": lambda book, visit: book.revise_organ(
        visit.organ_id, "Renamed hall", DESCRIPTION
    ),
    "a closing": lambda book, visit: book.close_visit(visit.id, "Done."),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_every_change_changes_the_stamp_and_reading_does_not(
    book: Book, visit: KeptVisit, change: Change
) -> None:
    before = glance(book.path)
    book.visits(visit.organ_id)
    assert glance(book.path) == before
    change(book, visit)
    while_open = glance(book.path)
    assert while_open.stamp != before.stamp
    book.close()
    assert glance(book.path) == while_open, "closing a book changes none of its records"


def test_a_copied_folder_has_another_stamp(folder: Path, tmp_path: Path) -> None:
    shutil.copytree(folder, tmp_path / "copy")
    assert glance(tmp_path / "copy").organs == glance(folder).organs
    assert glance(tmp_path / "copy").stamp != glance(folder).stamp


def test_it_names_the_organs_as_their_newest_descriptions_do(book: Book, visit: KeptVisit) -> None:
    CHANGES["a description"](book, visit)
    other = book.add_organ("Other hall", DESCRIPTION)
    assert glance(book.path).organs == ((visit.organ_id, "Renamed hall"), (other.id, "Other hall"))


def test_it_leaves_the_folder_as_it_was(folder: Path) -> None:
    before = {path: path.stat().st_mtime_ns for path in (folder, *folder.rglob("*"))}
    glance(folder)
    assert before == {path: path.stat().st_mtime_ns for path in (folder, *folder.rglob("*"))}


@pytest.mark.sqlite
def test_a_book_of_an_older_form_has_no_stamp(folder: Path) -> None:
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '0001'")
        connection.commit()
    assert glance(folder).revision == "0001" != HEAD_REVISION
    assert not glance(folder).stamp


def test_a_folder_without_a_book_says_so(tmp_path: Path) -> None:
    with pytest.raises(BookError, match=r"it has no book\.sqlite"):
        glance(tmp_path)
