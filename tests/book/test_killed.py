"""A killed program loses nothing that it reported as stored, and leaves nothing half done."""

import os
import shutil
import signal
from pathlib import Path

import pytest

from tests.book.making import DESCRIPTION, Clock
from tests.book.taking_in import KEYS, now, start, whole_walk
from walkboard.book import open_book
from walkboard.book.files.folder import DATABASE

pytestmark = pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL on Windows")


@pytest.fixture
def ready_folder(folder: Path, clock: Clock) -> Path:
    with open_book(folder, clock=clock) as book:
        book.open_visit(book.add_organ("Harbour Hall", DESCRIPTION).id, "spring")
    return folder


def assert_whole(folder: Path, said: list[str]) -> int:
    """Everything that was said to be kept is there; what else is there is whole too."""
    with open_book(folder, clock=now) as book:
        kept = {recording.id: recording for recording in book.recordings(1)}
        for words in said:
            _, number, sha256, name = words.split()
            recording = kept[int(number)]
            assert (recording.sha256, recording.file_name) == (sha256, name)
        for recording in kept.values():
            assert recording.walk == whole_walk(recording.file_name)
            assert book.sound_path(recording.id).stat().st_size == recording.bytes
        assert len(book.readings(1)) == KEYS * len(kept)
        # At the most one file without a row: the one that was being taken in.
        wrong = [problem.what for problem in book.check()]
        assert wrong in ([], ["This recording belongs to no visit."])
        return len(kept)


@pytest.mark.parametrize("after", [1, 3])
def test_killed_in_the_middle_of_taking_in(ready_folder: Path, tmp_path: Path, after: int) -> None:
    with start("until-killed", ready_folder, tmp_path) as child:
        assert child.stdout is not None
        said = [child.stdout.readline() for _ in range(after)]
        child.send_signal(signal.SIGKILL)
        said += child.stdout.readlines()  # what it still said before it died
        assert child.wait() == -signal.SIGKILL
    assert all(words.startswith("kept ") and words.endswith("\n") for words in said)
    count = assert_whole(ready_folder, said)
    assert count in {len(said), len(said) + 1}  # one may be kept that it could not yet say


def test_killed_at_each_stage(ready_folder: Path, tmp_path: Path) -> None:
    with start("at-each-stage", ready_folder, tmp_path) as child:
        assert child.stdout is not None
        said = child.stdout.read().splitlines()
    killed = int(signal.SIGKILL)
    stages = ("copying", "naming", "writing", "keeping")
    assert said == [f"{stage} {killed}" for stage in stages]
    with open_book(ready_folder, clock=now) as book:
        # Only the one whose rows were committed is there, and it is whole.
        assert [recording.file_name for recording in book.recordings(1)] == ["keeping.wav"]
        assert book.recordings(1)[0].walk == whole_walk("keeping.wav")
        assert [problem.what for problem in book.check()] == [
            "This recording belongs to no visit.",  # killed after naming
            "This recording belongs to no visit.",  # killed after writing
        ]
        assert len(list(book.sounds.leftovers())) == 1  # killed after copying
        # Taking them in again makes all good.
        for stage in ("naming", "writing"):
            source = tmp_path / f"{stage}.wav"
            book.keep_recording(1, source, whole_walk(source.name), program_version="0.1.0")
        assert book.check() == ()


@pytest.mark.sqlite
def test_a_power_cut_right_after_a_report(ready_folder: Path, tmp_path: Path, clock: Clock) -> None:
    # What a power cut leaves is what was synced. The database's part of it is SQLite's promise
    # (sqlite.org/pragma, synchronous=FULL in WAL mode); here, that it is asked for, and that a copy
    # of the files taken at once, with the -wal and without the -shm, has everything.
    with open_book(ready_folder, clock=clock) as book:
        with book._reading() as session:
            connection = session.connection()
            assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL
            assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
            assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
        source = tmp_path / "walk.wav"
        source.write_bytes(b"walk")
        kept = book.keep_recording(1, source, whole_walk("walk.wav"), program_version="0.1.0")
        cut = tmp_path / "cut"
        shutil.copytree(ready_folder, cut, ignore=shutil.ignore_patterns(f"{DATABASE}-shm"))
    with open_book(cut, clock=clock) as book:
        assert book.recordings(1) == (kept,)
        assert book.check() == ()
