"""A cheap way to see whether the book has changed, and what of a visit, whoever changed it."""

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
    """How far each kind of a visit's records has come: equal marks, equal records."""

    hearings: int
    ticks: int
    conditions: int
    plans: int


class Changes(Storing):
    """Seeing that something changed."""

    def __init__(self, path: Path, *, clock: Clock, wait_s: float) -> None:
        super().__init__(path, clock=clock, wait_s=wait_s)
        # A connection of its own that writes nothing: SQLite then counts every commit of all others
        # (sqlite.org/pragma, data_version), those of this program's other connections too.
        uri = f"{(path / DATABASE).absolute().as_uri()}?mode=rw"
        self._watch = sqlite3.connect(uri, uri=True, timeout=wait_s, check_same_thread=False)
        self._watch_lock = threading.Lock()

    def change(self) -> int:
        """A number that differs after every change of the book; of no use beyond this opening.

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
        """How far the records of a visit have come; zeros where there are none."""
        with self._reading() as session:
            row = session.execute(_MARKS, {"visit": visit_id}).one()
            return VisitMarks(*(int(mark or 0) for mark in row))

    def close(self) -> None:
        """Let go of the watching connection too."""
        with self._watch_lock:
            self._watch.close()


# Rows are only ever added, so that the newest id tells how far it has come.
_MARKS = text(
    "SELECT (SELECT max(hearing.id) FROM hearing JOIN recording"
    " ON hearing.recording_id = recording.id WHERE recording.visit_id = :visit),"
    " (SELECT max(id) FROM tick WHERE visit_id = :visit),"
    " (SELECT max(id) FROM conditions WHERE visit_id = :visit),"
    " (SELECT max(id) FROM plan WHERE visit_id = :visit)"
)
