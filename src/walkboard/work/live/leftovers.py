"""Recordings of live sessions on their way into the book, also of those that were killed.

While a session runs, its sound and its log lie in the book's folder beside a small database that
it holds locked; the system lets go of the lock when the program ends, however it ends. So a session
that runs, in this program or another, is never taken for one that was killed.
"""

from __future__ import annotations

import sqlite3
import uuid
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard import __version__
from walkboard.book.records import KeptRecording
from walkboard.capture.recording import mend_recording
from walkboard.errors import BookError, InputError, SoundError
from walkboard.listening.types import SoundInfo
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.work.live.log import read_log, settlings_of_lines, walk_of_lines
from walkboard.work.live.values import FOLDER

if TYPE_CHECKING:
    from walkboard.book.keeping import Book


class Berth:
    """Where a running session keeps its files; nobody takes them away while it is held.

    Parameters
    ----------
    book_path : Path

    Attributes
    ----------
    sound, log : Path
        Not there yet.
    """

    def __init__(self, book_path: Path) -> None:
        folder = book_path / FOLDER
        folder.mkdir(exist_ok=True)
        name = uuid.uuid4().hex
        self.sound = folder / f"{name}.flac"
        self.log = folder / f"{name}.jsonl"
        held = _held(_lock_of(self.log))
        assert held is not None  # the name is new
        self._held = held

    def release(self) -> None:
        """Let go; may be called twice."""
        self._held.close()

    def give_up(self) -> None:
        """Let go of a place where nothing is left."""
        self.release()
        for path in (self.sound, self.log, _lock_of(self.log)):
            path.unlink(missing_ok=True)


def _lock_of(log: Path) -> Path:
    return log.with_suffix(".lock")


def _held(lock: Path) -> sqlite3.Connection | None:
    """The lock taken; None where another holds it."""
    connection = sqlite3.connect(lock, timeout=0.0, isolation_level=None, check_same_thread=False)
    try:
        connection.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError:
        connection.close()
        return None
    return connection


def take_in_left_over(book: Book, visit_id: int | None = None) -> tuple[KeptRecording, ...]:
    """Keep what sessions left that were killed before they were closed.

    One that cannot be kept, as that its visit is closed, stays where it is; so does one that runs.

    Parameters
    ----------
    book : Book
    visit_id : int or None
        Only those of one visit; None: of all.
    """
    kept = []
    for log in sorted((book.path / FOLDER).glob("*.jsonl")):
        held = _held(_lock_of(log))
        if held is None:
            continue
        try:
            head, _ = read_log(log)
            if visit_id is not None and head.visit_id != visit_id:
                continue
            one = take_in(book, _organ_of(book, head.visit_id), log.with_suffix(".flac"), log)
        except (BookError, InputError):
            continue
        finally:
            held.close()
            if not log.exists():
                _lock_of(log).unlink(missing_ok=True)
        if one is not None:
            kept.append(one)
    return tuple(kept)


def _organ_of(book: Book, visit_id: int) -> Organ:
    """The organ as it was described when the visit was opened."""
    visit = book.visit(visit_id)
    versions = book.organ_versions(visit.organ_id)
    kept = next(v for v in versions if v.version == visit.organ_version)
    return read_organ(kept.description, where=kept.name)


def take_in(book: Book, organ: Organ, sound_path: Path, log_path: Path) -> KeptRecording | None:
    """Keep the recording of a session that has ended, and what it told of pipes settling.

    Parameters
    ----------
    book : Book
    organ : Organ
        Of the session's visit.
    sound_path, log_path : Path
        Taken away once they are in the book.

    Returns
    -------
    KeptRecording or None
        None where it was killed before any sound was on the disk.

    Raises
    ------
    BookError
        When the book cannot keep it; the files stay.
    InputError
        When a file cannot be read; both stay.
    """
    head, lines = read_log(log_path)
    kept = None
    try:
        seconds = mend_recording(sound_path)
    except SoundError:
        seconds = 0.0  # killed before the first frame was whole
    if seconds:
        import soundfile

        about = soundfile.info(str(sound_path))
        sound = SoundInfo(seconds, about.samplerate, about.channels, "FLAC, 24 bit")
        day = head.recorded_at.astimezone().strftime("%Y-%m-%d-%H%M")
        kept = book.keep_recording(
            head.visit_id,
            sound_path,
            walk_of_lines(organ, head, lines, f"live-{day}.flac", sound),
            program_version=__version__,
            # When it ended: what it holds of a pipe was heard after that pipe was ticked.
            recorded_at=head.recorded_at + timedelta(seconds=seconds),
        )
        book.keep_settlings(settlings_of_lines(organ, head, lines))
    with suppress(OSError):
        sound_path.unlink(missing_ok=True)
    log_path.unlink(missing_ok=True)
    return kept
