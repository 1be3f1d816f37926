"""A folder that is moved, replaced or removed while a book is open; what killed builders leave."""

import os
import shutil
import signal
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from tests.book.making import DESCRIPTION, MORNING, VERSION, Clock, a_sound, a_walk
from walkboard.book import create_book, open_book
from walkboard.book.cache.seen import open_seen
from walkboard.book.files.folder import BUILDING_LOCK, building
from walkboard.book.files.leftovers import leftovers, remove_leftovers
from walkboard.book.keeping import Book
from walkboard.book.records import KeptVisit
from walkboard.errors import BookError

GONE = "was moved, renamed or removed while it was open"


@pytest.mark.parametrize("how", ["moved", "removed", "replaced"])
def test_nothing_is_reported_as_kept_in_a_book_that_is_gone(
    book: Book, visit: KeptVisit, tmp_path: Path, clock: Clock, how: str
) -> None:
    kept = book.keep_recording(visit.id, a_sound(tmp_path), a_walk(), program_version=VERSION)
    elsewhere = tmp_path / "elsewhere"
    if how == "removed":
        shutil.rmtree(book.path)
    else:
        book.path.rename(elsewhere)
    if how == "replaced":
        create_book(book.path, clock=clock).close()
    for act in (
        lambda: book.add_note(visit.id, "cold"),
        lambda: book.recordings(visit.id),
        lambda: book.keep_recording(
            visit.id, a_sound(tmp_path, "b.wav", b"b"), a_walk(), program_version=VERSION
        ),
    ):
        with pytest.raises(BookError, match=GONE):
            act()
    assert book.path.exists() == (how == "replaced")
    if how != "removed":
        with open_book(elsewhere, clock=clock) as moved:
            assert moved.recordings(visit.id) == (kept,)
            assert moved.visit(visit.id).notes == ()
            assert moved.check() == ()


def test_what_is_written_while_the_folder_goes_is_undone(
    book: Book, visit: KeptVisit, tmp_path: Path, clock: Clock
) -> None:
    def write() -> None:
        with book._writing() as session:
            session.connection().exec_driver_sql("UPDATE visit SET purpose = 'half'")
            book.path.rename(tmp_path / "elsewhere")

    with pytest.raises(BookError, match=GONE):
        write()
    with open_book(tmp_path / "elsewhere", clock=clock) as moved:
        assert moved.visit(visit.id).purpose == visit.purpose


def test_pages_notice_too(book: Book, organ_id: int, tmp_path: Path, clock: Clock) -> None:
    with open_seen(book.path, clock=clock) as seen:
        assert seen.visits(organ_id) == ()
        book.path.rename(tmp_path / "elsewhere")
        with pytest.raises(BookError, match=GONE):
            seen.visits(organ_id)


_BUILDING = """
import os, signal, sys
from pathlib import Path
from walkboard.book.files.folder import building
with building(Path(sys.argv[1])) as part:
    (part / "half").write_text("half a book")
    print(part, flush=True)
    sys.stdin.readline()
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL on Windows")
@pytest.mark.parametrize("there", [False, True], ids=["beside it", "in it"])
def test_what_a_killed_builder_leaves_is_found_and_removed(tmp_path: Path, there: bool) -> None:
    place = tmp_path / "hall"
    if there:
        place.mkdir()
    with subprocess.Popen(
        [sys.executable, "-c", _BUILDING, str(place)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as builder:
        assert builder.stdout is not None
        part = Path(builder.stdout.readline().strip())
        assert leftovers(place) == ()  # it is at work
        builder.communicate("\n")
    assert builder.returncode == -signal.SIGKILL
    (found,) = leftovers(place)
    assert (found.path, found.bytes) == (part, len("half a book"))
    remove_leftovers((found,))
    assert leftovers(place) == ()
    assert not part.exists()


def test_the_check_names_what_is_left_beside_the_book(book: Book, organ_id: int) -> None:
    left = book.path.parent / f".copy.{'0' * 32}.new"
    left.mkdir()
    export = book.path / ".harbour.json.part"
    export.write_text("{")
    young = book.path / ".young.json.part"
    young.write_text("{")
    at = (MORNING - timedelta(days=2)).timestamp()
    os.utime(export, (at, at))
    os.utime(young, (MORNING.timestamp(), MORNING.timestamp()))
    problems = book.check()
    assert {p.where for p in problems} == {str(left), export.name}
    assert all("walkboard book clean" in p.fix for p in problems)
    assert organ_id


def test_a_finished_folder_has_no_lock_in_it(tmp_path: Path, clock: Clock) -> None:
    create_book(tmp_path / "new", clock=clock).close()
    assert not (tmp_path / "new" / BUILDING_LOCK).exists()
    with building(tmp_path / "other") as part:
        assert (part / BUILDING_LOCK).exists()
    assert list((tmp_path / "other").iterdir()) == []


def test_errors_name_the_folder_that_was_asked_for(tmp_path: Path) -> None:
    with pytest.raises(BookError) as caught, building(tmp_path / "hall") as part:
        raise BookError("The disk is full.", where=str(part / "book.sqlite"))
    assert caught.value.where == str(tmp_path / "hall" / "book.sqlite")
    assert DESCRIPTION
