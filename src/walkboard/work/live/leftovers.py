"""Brings recordings of live sessions into the book, including sessions that were killed.

While a session runs, its sound and its log are in the book's folder beside a small database that it
keeps locked; the system releases the lock when the program ends, however it ends. So a running
session, of this program or another, is never mistaken for a killed one.
"""

from __future__ import annotations

import uuid
from contextlib import suppress
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard import __version__
from walkboard.book.files.folder import hold_lock
from walkboard.book.records import KeptRecording
from walkboard.capture.recording import DAMAGED, HEADER_BYTES, Repaired, repair_recording
from walkboard.errors import BookError, InputError, SoundError
from walkboard.listening.types import SoundInfo
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.work.live.log import read_log, settlings_of_lines, walk_of_lines
from walkboard.work.live.values import FOLDER

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

SET_ASIDE = "set-aside"  # in the book's folder: sound files that were damaged
_LOG_RATE_HZ = 48_000  # for a recording that is only a log; nothing is measured from it


class Berth:
    """Where a running session keeps its files; nobody removes them while it is locked.

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
        held = hold_lock(_lock_of(self.log))
        assert held is not None  # the name is new
        self._held = held

    def release(self) -> None:
        """Release it; may be called twice."""
        self._held.close()

    def give_up(self) -> None:
        """Release a place where nothing is left."""
        self.release()
        for path in (self.sound, self.log, _lock_of(self.log)):
            path.unlink(missing_ok=True)


def _lock_of(log: Path) -> Path:
    return log.with_suffix(".lock")


def take_in_left_over(book: Book, visit_id: int | None = None) -> tuple[KeptRecording, ...]:
    """Store what sessions left behind that were killed before they were closed.

    One that cannot be stored, for example because its visit is closed, stays where it is; so does a
    running one.

    Parameters
    ----------
    book : Book
    visit_id : int or None
        Only sessions of this visit; None: of all visits.
    """
    kept = []
    for log in sorted((book.path / FOLDER).glob("*.jsonl")):
        held = hold_lock(_lock_of(log))
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
    """Store the recording of an ended session, and how pipes were heard settling in it.

    The intact part of damaged sound is stored, and the damaged file is set aside in the book's
    folder; a note at the visit says so. The log's content is stored even without any sound.

    Parameters
    ----------
    book : Book
    organ : Organ
        Organ of the session's visit.
    sound_path, log_path : Path
        Deleted once they are in the book.

    Returns
    -------
    KeptRecording or None
        None if it was killed before any sound or pipe was on disk.

    Raises
    ------
    BookError
        If the book cannot store it; the files stay.
    InputError
        If a file cannot be read; both stay.
    """
    head, lines = read_log(log_path)
    day = head.recorded_at.astimezone().strftime("%Y-%m-%d-%H%M")
    recorded = _recorded(sound_path)
    aside = _set_aside(book, sound_path, is_whole=recorded is not None)
    if recorded is None and not lines and not aside:
        _remove(sound_path, log_path)
        return None
    if recorded is None:
        # The readings count without the sound: the log itself is stored as their recording.
        source, name = log_path, f"live-{day}.jsonl"
        heard = [part.end_s for line in lines for part in (line.before, line.after) if part]
        sound = SoundInfo(max(heard, default=0.0), _LOG_RATE_HZ, 1, "log of a live session")
        words = "The sound of this session was lost; its readings come from its log alone."
    else:
        source, name = sound_path, f"live-{day}.flac"
        sound = SoundInfo(recorded.seconds, recorded.sample_rate, recorded.channels, "FLAC, 24 bit")
        words = ""
        if recorded.lost_s:
            words = f"{recorded.lost_s:.1f} s of this recording were damaged and are silent now."
    walk = walk_of_lines(organ, head, lines, name, sound)
    if words:
        walk = replace(walk, warnings=(*walk.warnings, words))
    kept = book.keep_recording(
        head.visit_id,
        source,
        walk,
        program_version=__version__,
        # When it ended: its sound of a pipe was heard after that pipe was ticked.
        recorded_at=head.recorded_at + timedelta(seconds=sound.seconds),
    )
    book.keep_settlings(settlings_of_lines(organ, head, lines))
    if words or aside:
        where = f" The damaged file is kept in the book's folder as {aside}." if aside else ""
        book.add_note(head.visit_id, f"{name}: {words or 'Its header was damaged.'}{where}")
    _remove(sound_path, log_path)
    return kept


def _recorded(sound_path: Path) -> Repaired | None:
    """A session's recording, repaired; None if it has no complete frame."""
    try:
        return repair_recording(sound_path)
    except SoundError:
        return None
    except InputError:
        if sound_path.exists():
            raise
        return None  # the file was lost


def _set_aside(book: Book, sound_path: Path, *, is_whole: bool) -> str:
    """Keep damaged sound in the book's folder; returns its place there, or an empty text."""
    damaged = sound_path.with_suffix(DAMAGED)
    if not is_whole and sound_path.exists() and sound_path.stat().st_size > HEADER_BYTES:
        sound_path.replace(damaged)
    if not damaged.exists():
        return ""
    folder = book.path / SET_ASIDE
    folder.mkdir(exist_ok=True)
    target = folder / f"{damaged.stem}.flac"
    damaged.replace(target)
    return target.relative_to(book.path).as_posix()


def _remove(*paths: Path) -> None:
    for path in paths:
        with suppress(OSError):
            path.unlink(missing_ok=True)
