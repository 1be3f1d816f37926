"""A full disk: a clear message, nothing lost, no half file, and work goes on once there is room."""

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import event

from tests.book.making import DESCRIPTION, VERSION, Clock, a_hold, a_sound, a_walk
from walkboard.book import create_book, open_book
from walkboard.book.keeping import Book
from walkboard.book.records import KeptVisit
from walkboard.errors import BookError

FULL = "The disk is full. Make room and try again"


def files(book: Book) -> list[Path]:
    return [path for path in book.sounds.path.rglob("*") if path.is_file()]


def until_it_fails(step: Callable[[int], object], most: int) -> None:
    for number in range(most):
        step(number)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 4 MB, of the system's own making."""
    place = tmp_path / "disk"
    place.mkdir()
    if os.geteuid() != 0 or shutil.which("mount") is None:
        pytest.skip("a small disk can only be mounted by root")
    command = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(place)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        pytest.skip(f"a small disk cannot be mounted here: {done.stderr.strip()}")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.mark.sqlite
def test_a_disk_that_fills_up(
    small_disk: Path, empty_folder: Path, tmp_path: Path, clock: Clock
) -> None:
    folder = Path(shutil.copytree(empty_folder, small_disk / "hall"))
    random = np.random.default_rng(28)
    holds = tuple(a_hold(number) for number in range(1, 62))
    kept = []
    with open_book(folder, clock=clock) as book:
        visit = book.open_visit(book.add_organ("Harbour Hall", DESCRIPTION).id, "spring")

        def take_in(number: int) -> None:
            source = a_sound(tmp_path, f"{number}.wav", random.bytes(300_000))
            walk = a_walk(*holds)
            kept.append(book.keep_recording(visit.id, source, walk, program_version=VERSION))

        with pytest.raises(BookError, match=FULL):
            until_it_fails(take_in, 40)
        assert 5 < len(kept) < 40
        assert book.recordings(visit.id) == tuple(kept)
        assert len(files(book)) == len(kept)
        assert book.check() == ()

        # Smaller things fail too when there is no room at all, and are as clear.
        filler = small_disk / "filler"
        with filler.open("wb", buffering=0) as handle, pytest.raises(OSError, match="No space"):
            until_it_fails(lambda _: handle.write(b"\0" * 4096), 1000)
        with pytest.raises(BookError, match=FULL):
            until_it_fails(lambda _: book.add_note(visit.id, "a long note " * 500), 200)
        with pytest.raises(BookError, match=FULL):
            book.copy_to(small_disk / "copy")
        with pytest.raises(BookError, match=FULL):
            book.export_json(small_disk / "book.json")
        notes = book.visit(visit.id).notes
        assert book.recordings(visit.id) == tuple(kept)

        filler.unlink()
        assert len(book.add_note(visit.id, "there is room again").notes) == len(notes) + 1
        assert book.check() == ()
        assert sorted(p.name for p in small_disk.iterdir()) == ["hall"]
    with open_book(folder, clock=clock) as book:
        assert book.recordings(visit.id) == tuple(kept)
        assert book.check() == ()


@pytest.mark.sqlite
def test_no_room_for_the_rows(book: Book, visit: KeptVisit, tmp_path: Path) -> None:
    # SQLite's own full disk: a database that may not grow (sqlite.org/pragma, max_page_count).
    source = a_sound(tmp_path)
    first = book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    book._engine.dispose()

    @event.listens_for(book._engine, "connect")
    def forbid_growth(connection, _record) -> None:
        connection.execute("PRAGMA max_page_count = 1")  # it keeps the pages that it has

    long = a_walk(*(a_hold(1) for _ in range(500)))
    with pytest.raises(BookError, match=FULL):
        book.keep_recording(
            visit.id, a_sound(tmp_path, "long.wav", b"long"), long, program_version=VERSION
        )
    assert [path.name for path in files(book)] == [f"{first.sha256}.flac"]
    assert book.recordings(visit.id) == (first,)
    event.remove(book._engine, "connect", forbid_growth)
    book._engine.dispose()
    book.keep_recording(
        visit.id, a_sound(tmp_path, "long.wav", b"long"), long, program_version=VERSION
    )
    assert book.check() == ()


@pytest.mark.parametrize("fails_at", ["fsync", "replace", "mkdir"])
def test_no_room_for_the_copy(
    book: Book, visit: KeptVisit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails_at: str
) -> None:
    def no_room(*_args: object, **_named: object) -> None:
        raise OSError(28, "No space left on device")

    source = a_sound(tmp_path)
    if fails_at == "fsync":
        monkeypatch.setattr("walkboard.book.files.sounds.os.fsync", no_room)
    else:
        monkeypatch.setattr(Path, fails_at, no_room)
    with pytest.raises(BookError, match=FULL):
        book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    monkeypatch.undo()
    assert files(book) == []
    assert book.recordings(visit.id) == ()
    book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    assert book.check() == ()


def test_content_that_another_visit_has_is_not_taken_away_when_rows_fail(
    book: Book, visit: KeptVisit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = a_sound(tmp_path)
    first = book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    book.close_visit(visit.id)
    second = book.open_visit(visit.organ_id, "autumn")

    def breaks(*_args: object) -> None:
        raise BookError("broken on purpose")

    monkeypatch.setattr("walkboard.book.recordings.taking_in.fill_hearing", breaks)
    with pytest.raises(BookError, match="broken on purpose"):
        book.keep_recording(second.id, source, a_walk(), program_version=VERSION)
    assert book.sound_path(first.id).is_file()
    assert book.check() == ()


@pytest.mark.sqlite
def test_a_full_disk_is_called_full_whatever_is_done(small_disk: Path, empty_folder: Path) -> None:
    clock = Clock()
    folder = Path(shutil.copytree(empty_folder, small_disk / "hall"))
    filler = small_disk / "filler"
    with filler.open("wb", buffering=0) as handle, pytest.raises(OSError, match="No space"):
        until_it_fails(lambda _: handle.write(b"\0" * 4096), 2000)
    with pytest.raises(BookError, match=FULL):  # SQLite says "disk I/O error"
        open_book(folder, clock=clock)
    with pytest.raises(BookError, match=FULL) as caught:
        create_book(small_disk / "new", clock=clock)
    assert caught.value.where.startswith(str(small_disk / "new"))
    assert sorted(p.name for p in small_disk.iterdir()) == ["filler", "hall"]
    filler.unlink()
    with open_book(folder, clock=clock) as book:
        assert book.check() == ()
