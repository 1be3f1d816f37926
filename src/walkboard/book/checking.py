"""Checks the whole book and reports everything wrong."""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from walkboard.book.files import trouble
from walkboard.book.files.folder import LIVE
from walkboard.book.files.leftovers import Leftover, leftovers
from walkboard.book.files.sounds import sha256_of
from walkboard.book.models import (
    HearingRow,
    OrganRow,
    OwnDeviceRow,
    PlanRow,
    RecordingRow,
    SoundRow,
    VisitRow,
)
from walkboard.book.organs.organs import Organs
from walkboard.book.organs.weights import Weights
from walkboard.book.recordings.taking_in import TakingIn
from walkboard.book.recordings.walks import read_back
from walkboard.book.records import BookProblem
from walkboard.book.rows.counting import trigger_names, wanted_triggers
from walkboard.book.rows.superseding import newest_hearings
from walkboard.book.venue.air_logs import AirLogs
from walkboard.book.venue.events import Events
from walkboard.book.venue.faults import Faults
from walkboard.book.venue.photographs import Photographs
from walkboard.book.venue.venue import Venue
from walkboard.book.visits.plans import Plans
from walkboard.book.visits.settlings import Settlings
from walkboard.book.visits.ticks import Ticks, read_every_tick
from walkboard.book.visits.visits import Visits
from walkboard.errors import WalkboardError

Progress = Callable[[float, float], None]
"""Called with the work done and the total."""

_THREADS = 2  # a disk gains little from more. Chosen.
_AT_ONCE = 100  # recordings whose rows are read back together. Chosen.
# Shares of the time that checking the records takes, by `bench growth` at 600 visits: the structure
# of the database, and with what was read back in one go.
_STRUCTURE, _BEFORE_READERS = 0.55, 0.85
_PUT_BACK = "Put back the newest copy; keep the damaged folder until that is done."
# What reading a row raises if another program wrote it.
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
    TakingIn,
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
    """Checking the book: reads everything that the other parts store."""

    def refuse_damage(self) -> None:
        """Raise BookError when a quick look finds the database damaged."""
        with self._reading() as session:
            is_sound = self.database.is_sound(session.connection())
        if not is_sound:
            raise trouble.of_code(trouble.CORRUPT, self.path)

    def check(self, progress: Progress = lambda _done, _total: None) -> tuple[BookProblem, ...]:
        """Everything wrong in the book; reads every recording, at the speed of the disk.

        Checks the database's structure, rows that name missing rows, records that cannot be read
        back, recordings that are missing, changed or unreadable, files that belong to no recording,
        and what killed programs left. A file that cannot be read is reported, and the check goes
        on.

        Parameters
        ----------
        progress : callable
            As for `check_files`; the records take a second for forty years of one organ.
        """
        return (*self.check_records(), *self.check_files(progress))

    def check_files(
        self, progress: Progress = lambda _done, _total: None
    ) -> tuple[BookProblem, ...]:
        """What is wrong with the recordings and the other files of the book's folder.

        Parameters
        ----------
        progress : callable
            Called with the bytes of recordings read and their total, perhaps from other threads.
        """
        return (*self._sounds(progress), *self._live_logs(), *self._unfinished())

    def check_records(
        self, progress: Progress = lambda _done, _total: None
    ) -> tuple[BookProblem, ...]:
        """Problems in the database, and records that cannot be read back.

        Parameters
        ----------
        progress : callable
            Called with the share of the work done, and 1.
        """
        with self._reading() as session:
            problems = [
                *self.database.problems(session.connection()),
                *_uncounted(session, self.database.where),
                *_hearings(session, self.database.where),
            ]
            organs, visits, recordings = (
                session.scalars(select(row.id).order_by(row.id)).all()
                for row in (OrganRow, VisitRow, RecordingRow)
            )
            planned = session.scalars(select(PlanRow.visit_id).distinct()).all()
        progress(_STRUCTURE, 1.0)
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
            ("visit", self._doubtful_visits(organs, visits), (self.visit, self.ticks)),
            ("visit", planned, (self.plans,)),
            ("recording", self._doubtful(recordings), (self.hearings,)),
        )
        progress(_BEFORE_READERS, 1.0)
        total = sum(len(ids) for _, ids, _ in readers)
        done = 0
        for kind, ids, reads in readers:
            for id_ in ids:
                done += 1
                progress(_BEFORE_READERS + (1.0 - _BEFORE_READERS) * done / total, 1.0)
                for read in reads:
                    try:
                        read(id_)
                    except _UNREADABLE as error:
                        what = f"A record cannot be read ({type(error).__name__}: {error})."
                        problems.append(
                            BookProblem(f"{self.database.where}, {kind} {id_}", what, _PUT_BACK)
                        )
        return tuple(problems)

    def leftovers(self) -> tuple[Leftover, ...]:
        """What killed programs left in the book's folder, or beside it; see `remove_leftovers`."""
        return leftovers(self.path, now_s=self._now().timestamp())

    def _live_logs(self) -> Iterator[BookProblem]:
        """Logs of killed live sessions whose first line does not say to which visit they belong."""
        for log in sorted((self.path / LIVE).glob("*.jsonl")):
            try:
                with log.open(encoding="utf-8") as stream:
                    head = json.loads(stream.readline())
                    is_known = isinstance(head, dict) and isinstance(head.get("visit_id"), int)
            except (OSError, ValueError, RecursionError):
                is_known = False
            if not is_known:
                where = str(log.relative_to(self.path))
                what = "The log of a live session cannot be read, so that it stays here."
                fix = (
                    f"Take in {log.with_suffix('.flac').name} beside it at its visit, if it is"
                    " there, and move both away."
                )
                yield BookProblem(where, what, fix)

    def _unfinished(self) -> Iterator[BookProblem]:
        for one in self.leftovers():
            is_inside = one.path.is_relative_to(self.path)
            where = str(one.path.relative_to(self.path) if is_inside else one.path)
            fix = f"Remove it: walkboard book clean {self.path} --remove"
            yield BookProblem(where, one.what, fix)

    def _doubtful_visits(self, organs: Sequence[int], visits: Sequence[int]) -> Sequence[int]:
        """All visits if anything of one cannot be read back, else none: faster than one by one."""
        try:
            for organ_id in organs:
                self.visits(organ_id)
            with self._reading() as session:
                read_every_tick(session)
        except _UNREADABLE:
            return visits
        return ()

    def _doubtful(self, recordings: Sequence[int]) -> list[int]:
        """Blocks of recordings with one that cannot be read back: much faster than one by one."""
        if self._is_readable(None):
            return []
        doubtful: list[int] = []
        for at in range(0, len(recordings), _AT_ONCE):
            some = recordings[at : at + _AT_ONCE]
            if not self._is_readable((some[0], some[-1])):
                doubtful += some
        return doubtful

    def _is_readable(self, recordings: tuple[int, int] | None) -> bool:
        try:
            with self._reading() as session:
                read_back(session, recordings)
        except _UNREADABLE:
            return False
        return True

    def _sounds(self, progress: Progress) -> Iterator[BookProblem]:
        with self._reading() as session:
            rows = [
                (row.sha256, self.sounds.path_of(row.sha256, row.extension), row.bytes)
                for row in session.scalars(select(SoundRow).order_by(SoundRow.sha256))
            ]
            elsewhere = _left_elsewhere(session)
        known = {str(path) for _, path, _ in rows}
        rows = [row for row in rows if row[0] not in elsewhere or row[1].is_file()]
        total = sum(size for _, _, size in rows)
        done, lock = 0, threading.Lock()

        def look(sha256: str, path: Path, size: int) -> BookProblem | None:
            nonlocal done
            found = self._problem_of(sha256, path)
            with lock:
                done += size
                progress(done, total)
            return found

        # Hashing lets other threads run, so one reads while another calculates.
        with ThreadPoolExecutor(_THREADS) as pool:
            for found in pool.map(lambda row: look(*row), rows):
                if found is not None:
                    yield found
        for path, is_named in self.sounds.files():
            if not is_named:
                what, fix = "This file does not belong to the book.", "Move it away."
            elif path not in known:
                what = "This recording belongs to no visit."
                fix = "A program was killed importing it. Import it at a visit, or move it away."
            else:
                continue
            yield BookProblem(os.path.relpath(path, self.path), what, fix)

    def _problem_of(self, sha256: str, path: Path) -> BookProblem | None:
        fix = "Restore the file from a copy of the book."
        try:
            if not path.is_file():
                what = "The file of a recording is missing."
            elif sha256_of(path) == sha256:
                return None
            else:
                what = "The file of a recording has changed."
        except OSError as error:
            what = f"The file of a recording cannot be read ({error.strerror or error})."
            fix = f"{fix} Check the disk."
        return BookProblem(str(path.relative_to(self.path)), what, fix)


def _left_elsewhere(session: Session) -> frozenset[str]:
    """Hashes of recordings that stayed in the book that this copy was taken from."""
    if not session.scalar(select(OwnDeviceRow.leaves_sound)):
        return frozenset()
    own = select(RecordingRow.sha256).where(RecordingRow.arrived_at.is_(None))
    return frozenset(
        session.scalars(select(RecordingRow.sha256).where(RecordingRow.sha256.not_in(own)))
    )


def _uncounted(session: Session, where: str) -> Iterator[BookProblem]:
    missing = set(wanted_triggers()) - set(trigger_names(session.connection()))
    if missing:
        what = f"Changes are not counted, for want of: {', '.join(sorted(missing))}."
        yield BookProblem(where, what, _PUT_BACK)


def _hearings(session: Session, where: str) -> Iterator[BookProblem]:
    # Of a recording that two copies of the book imported, one hearing counts.
    heard = aliased(RecordingRow)
    newest = (
        newest_hearings()
        .join(heard, HearingRow.recording_id == heard.id)
        .where(heard.visit_id == RecordingRow.visit_id, heard.sha256 == RecordingRow.sha256)
    )
    without = select(RecordingRow.id).where(~newest.exists())
    for number in session.scalars(without):
        what = "Every hearing of it is superseded, so none counts."
        yield BookProblem(f"{where}, recording {number}", what, _PUT_BACK)
