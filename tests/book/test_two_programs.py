"""Two programs on one book: readers never wait, writers take turns, nothing is lost."""

import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from tests.book.another_writer import another_writer
from tests.book.making import DESCRIPTION, VERSION, Clock, a_sound, a_walk
from tests.book.taking_in import NOTES, start
from walkboard.book import open_book
from walkboard.book.keeping import Book
from walkboard.book.records import KeptVisit
from walkboard.errors import BookError


def test_a_writer_waits_and_then_says_so(folder: Path, tmp_path: Path, clock: Clock) -> None:
    with open_book(folder, clock=clock, wait_s=0.05) as book:
        organ = book.add_organ("Harbour Hall", DESCRIPTION)
        visit = book.open_visit(organ.id, "spring")
        with another_writer(folder):
            with pytest.raises(BookError, match="Another program is writing to this book"):
                book.add_note(visit.id, "cold")
            with pytest.raises(BookError, match="Another program is writing to this book"):
                book.keep_recording(visit.id, a_sound(tmp_path), a_walk(), program_version=VERSION)
        assert book.visit(visit.id) == visit
        assert book.recordings(visit.id) == ()
        assert [p for p in book.sounds.path.rglob("*") if p.is_file()] == []
        assert len(book.add_note(visit.id, "cold").notes) == 1


def test_a_writer_that_waits_long_enough_goes_on(folder: Path, clock: Clock) -> None:
    with open_book(folder, clock=clock, wait_s=30.0) as book, another_writer(folder) as other:
        waiting = threading.Thread(target=book.add_organ, args=("Harbour Hall", DESCRIPTION))
        waiting.start()
        assert book.organs() == ()
        other.execute("COMMIT")
        waiting.join()
        assert [organ.name for organ in book.organs()] == ["Harbour Hall"]


def test_a_reader_never_waits_and_sees_one_moment(
    book: Book, visit: KeptVisit, clock: Clock
) -> None:
    with open_book(book.path, clock=clock, wait_s=0.0) as other, book._reading() as session:
        (before,) = session.connection().exec_driver_sql("SELECT count(*) FROM note").one()
        other.add_note(visit.id, "written meanwhile")
        assert len(other.visit(visit.id).notes) == 1
        (after,) = session.connection().exec_driver_sql("SELECT count(*) FROM note").one()
        assert before == after == 0
    assert len(book.visit(visit.id).notes) == 1


def test_two_programs_at_work_lose_nothing(folder: Path, tmp_path: Path, clock: Clock) -> None:
    with open_book(folder, clock=clock) as book:
        organ = book.add_organ("Harbour Hall", DESCRIPTION)
        programs = [start("notes", folder, tmp_path) for _ in range(2)]
        for program in programs:
            assert program.stdout is not None
            assert program.stdout.readline() == "ready\n"
        for program in programs:
            assert program.stdin is not None
            program.stdin.write("go\n")
            program.stdin.flush()
        seen = [0]
        while any(program.poll() is None for program in programs):
            seen += [len(visit.notes) for visit in book.visits(organ.id)]  # never an error
            time.sleep(0.02)
        said = [program.communicate()[0].splitlines() for program in programs]
        assert [program.returncode for program in programs] == [0, 0]

        # One could open a visit, the other got a clear refusal.
        opened, refused = sorted(lines[0] for lines in said)
        assert opened == "opened 1"
        assert refused.startswith("refused Visit 1 to Harbour Hall")
        # Every note of both is there.
        notes = [note.words for note in book.visit(1).notes]
        assert sorted(notes) == sorted(f"{p.pid} {n}" for p in programs for n in range(NOTES))
        assert seen == sorted(seen)
        # Each change read the version before it and added one.
        versions = sorted(int(words.split()[1]) for lines in said for words in lines[1:])
        assert versions == list(range(2, 2 * NOTES + 2))
        assert book.organ(organ.id).version == 2 * NOTES + 1
        assert book.check() == ()


def test_threads_share_one_book(book: Book, visit: KeptVisit) -> None:
    def add(number: int) -> None:
        for step in range(5):
            book.add_note(visit.id, f"{number} {step}")

    threads = [threading.Thread(target=add, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    notes = sorted(note.words for note in book.visit(visit.id).notes)
    assert notes == sorted(f"{number} {step}" for number in range(4) for step in range(5))


_TELLING = """
import os
import sys
from pathlib import Path
from tests.book.making import Clock
from walkboard.book import open_book

with open_book(Path(sys.argv[1]), clock=Clock()) as book:
    book.report_fault(1, "cipher", f"reported by process {os.getpid()}")
    print("refused", flush=True)
    sys.stdin.readline()
"""


def test_a_book_opened_twice_in_one_program_still_sees_what_another_does(
    book: Book, organ_id: int, clock: Clock
) -> None:
    """Seen red: opening read the database as a plain file, whose closing dropped all locks."""
    assert book.faults(organ_id) == ()
    with open_book(book.path, clock=clock):
        pass
    for number in (1, 2):  # the first one took the write-ahead log away as it closed
        with subprocess.Popen(
            [sys.executable, "-c", _TELLING, str(book.path)],
            cwd=Path(__file__).resolve().parents[2],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        ) as other:
            assert other.stdout is not None
            assert other.stdout.readline() == "refused\n"
            with open_book(book.path, clock=clock) as again:
                assert len(again.faults(organ_id)) == number
            assert len(book.faults(organ_id)) == number
            other.communicate("\n")
