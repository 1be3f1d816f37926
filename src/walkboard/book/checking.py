"""Looks through the whole book for what is wrong, and says all of it at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import timedelta
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from walkboard.book import trouble
from walkboard.book.air_logs import AirLogs
from walkboard.book.events import Events
from walkboard.book.faults import Faults
from walkboard.book.folder import DATABASE
from walkboard.book.models import HearingRow, OrganRow, RecordingRow, SoundRow, VisitRow
from walkboard.book.organs import Organs
from walkboard.book.photographs import Photographs
from walkboard.book.plans import Plans
from walkboard.book.recordings import Recordings
from walkboard.book.records import BookProblem
from walkboard.book.settlings import Settlings
from walkboard.book.sounds import sha256_of
from walkboard.book.superseding import current_hearings
from walkboard.book.ticks import Ticks
from walkboard.book.venue import Venue
from walkboard.book.visits import Visits
from walkboard.book.weights import Weights
from walkboard.errors import WalkboardError

LEFTOVER_AGE = timedelta(days=1)  # no copying lasts so long; a killed program has left it
_PUT_BACK = "Put back the newest copy; keep the damaged folder until that is done."
# What reading a row raises that something else than the book has written.
_UNREADABLE = (
    WalkboardError,
    ValueError,
    TypeError,
    LookupError,
    AttributeError,
)


class Checking(
    Organs,
    Visits,
    Recordings,
    Plans,
    Ticks,
    Faults,
    Events,
    Weights,
    Settlings,
    Venue,
    Photographs,
    AirLogs,
):
    """Checking the book: it reads all that the other parts keep."""

    def refuse_damage(self) -> None:
        """Raise BookError when the database is damaged (``PRAGMA quick_check``)."""
        with self._reading() as session:
            said = session.connection().exec_driver_sql("PRAGMA quick_check(1)").scalar()
        if said != "ok":
            raise trouble.of_code(trouble.CORRUPT, self.path)

    def check(self) -> tuple[BookProblem, ...]:
        """Everything wrong in the book; reads every recording, which takes its time.

        The database's own order, rows that name others that are not there, records that cannot be
        read back, recordings that are missing or changed, files that belong to no recording, and
        copies that a killed program left.
        """
        with self._reading() as session:
            sounds = tuple(self._sounds(session))
        return self.check_records() + sounds

    def check_records(self) -> tuple[BookProblem, ...]:
        """What of the database is wrong, and which records cannot be read back."""
        with self._reading() as session:
            problems = [*_database(session), *_hearings(session)]
            organs, visits, recordings = (
                session.scalars(select(row.id).order_by(row.id)).all()
                for row in (OrganRow, VisitRow, RecordingRow)
            )
        readers: tuple[tuple[str, Sequence[int], tuple[Callable[[int], object], ...]], ...] = (
            (
                "organ",
                organs,
                (
                    self.organ_versions,
                    self.faults,
                    self.events,
                    self.weights,
                    self.settlings,
                    self.next_visit,
                    self.contacts,
                    self.fault_cares,
                    self.photographs,
                    self.air_logs,
                ),
            ),
            ("visit", visits, (self.visit, self.plans, self.ticks)),
            ("recording", recordings, (self.hearings,)),
        )
        for kind, ids, reads in readers:
            for id_ in ids:
                for read in reads:
                    try:
                        read(id_)
                    except _UNREADABLE as error:
                        what = f"A record cannot be read ({type(error).__name__}: {error})."
                        problems.append(BookProblem(f"{DATABASE}, {kind} {id_}", what, _PUT_BACK))
        return tuple(problems)

    def sweep(self) -> int:
        """Remove unfinished copies that a killed program left over a day ago; tells how many."""
        removed = 0
        for path in self._old_leftovers():
            path.unlink(missing_ok=True)
            removed += 1
        return removed

    def _old_leftovers(self) -> Iterator[Path]:
        oldest = (self._now() - LEFTOVER_AGE).timestamp()
        for path in self.sounds.leftovers():
            if path.stat().st_mtime < oldest:
                yield path

    def _sounds(self, session: Session) -> Iterator[BookProblem]:
        known: set[Path] = set()
        for row in session.scalars(select(SoundRow).order_by(SoundRow.sha256)):
            path = self.sounds.path_of(row.sha256, row.extension)
            known.add(path)
            where = str(path.relative_to(self.path))
            if not path.is_file():
                mend = "Bring the file back from a copy of the book."
                yield BookProblem(where, "The file of a recording is missing.", mend)
            elif sha256_of(path) != row.sha256:
                mend = "Bring the right one back from a copy of the book."
                yield BookProblem(where, "The file of a recording has changed.", mend)
        for path in self.sounds.named():
            if path not in known:
                where = str(path.relative_to(self.path))
                mend = "Take it in at a visit, or move it away; a program was killed over it."
                yield BookProblem(where, "This recording belongs to no visit.", mend)
        for path in self.sounds.strangers():
            where = str(path.relative_to(self.path))
            yield BookProblem(where, "This file is none of the book's.", "Move it away.")
        for path in self._old_leftovers():
            where = str(path.relative_to(self.path))
            yield BookProblem(where, "A killed program left this unfinished copy.", "Remove it.")


def _database(session: Session) -> Iterator[BookProblem]:
    connection = session.connection()
    for (said,) in connection.exec_driver_sql("PRAGMA integrity_check"):
        if said != "ok":
            yield BookProblem(DATABASE, f"The database is damaged: {said}.", _PUT_BACK)
    for table, rowid, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        yield BookProblem(
            f"{DATABASE}, {table} {rowid}",
            f"It names a row of {parent} that is not there.",
            _PUT_BACK,
        )


def _hearings(session: Session) -> Iterator[BookProblem]:
    standing = current_hearings().with_only_columns(HearingRow.recording_id)
    without = select(RecordingRow.id).where(RecordingRow.id.not_in(standing))
    for number in session.scalars(without):
        what = "No hearing of it stands: each is superseded by another."
        yield BookProblem(f"{DATABASE}, recording {number}", what, _PUT_BACK)
