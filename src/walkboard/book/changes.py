"""A cheap way to see whether the book, or part of a visit, has changed, whoever changed it."""

from __future__ import annotations

import sqlite3
import threading
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import text

from walkboard.book.folder import DATABASE, Clock
from walkboard.book.storing import Storing


@dataclass(frozen=True, slots=True)
class VisitMarks:
    """The newest id of each kind of a visit's records: equal marks, equal records."""

    hearings: int
    ticks: int
    conditions: int
    plans: int


class Changes(Storing):
    """Noticing that something changed."""

    def __init__(self, path: Path, *, clock: Clock, wait_s: float) -> None:
        super().__init__(path, clock=clock, wait_s=wait_s)
        # A separate connection that writes nothing: SQLite then counts every commit of all others
        # (sqlite.org/pragma, data_version), also those of this program's other connections.
        uri = f"{(path / DATABASE).absolute().as_uri()}?mode=rw"
        self._watch = sqlite3.connect(uri, uri=True, timeout=wait_s, check_same_thread=False)
        self._watch_lock = threading.Lock()

    def change(self) -> int:
        """A number that differs after every change of the book; valid only while this book is open.

        Raises
        ------
        BookError
            When the database cannot be read.
        """
        self.refuse_moved()
        with self._telling(), self._watch_lock:
            (number,) = self._watch.execute("PRAGMA data_version").fetchone()
            return int(number)

    def visit_marks(self, visit_id: int) -> VisitMarks:
        """The newest ids of a visit's records; zeros if it has none."""
        with self._reading() as session:
            row = session.execute(_MARKS, {"visit": visit_id}).one()
            return VisitMarks(*(int(mark or 0) for mark in row))

    def close(self) -> None:
        """Close the watching connection too."""
        with self._watch_lock:
            self._watch.close()


# Rows are only ever added, so the newest id shows every change.
_MARKS = text(
    "SELECT (SELECT max(hearing.id) FROM hearing JOIN recording"
    " ON hearing.recording_id = recording.id WHERE recording.visit_id = :visit),"
    " (SELECT max(id) FROM tick WHERE visit_id = :visit),"
    " (SELECT max(id) FROM conditions WHERE visit_id = :visit),"
    " (SELECT max(id) FROM plan WHERE visit_id = :visit)"
)
