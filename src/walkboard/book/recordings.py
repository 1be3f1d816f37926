"""Recordings taken in at a visit, each with what was heard in it."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from walkboard.book.models import HearingRow, HoldRow, RecordingRow, SoundRow, VisitRow
from walkboard.book.records import KeptRecording
from walkboard.book.sounds import Incoming
from walkboard.book.storing import Storing
from walkboard.book.superseding import current_hearings, supersede_readings
from walkboard.book.values import instant
from walkboard.book.walks import fill_hearing, walk_of
from walkboard.errors import BookError
from walkboard.survey.hear.heard_walk import HeardWalk

_WHOLE_WALK = (
    selectinload(HearingRow.recording).selectinload(RecordingRow.sound),
    selectinload(HearingRow.holds).selectinload(HoldRow.readings),
)


class Recordings(Storing):
    """Taking recordings in, and taking them in again."""

    def keep_recording(
        self,
        visit_id: int,
        source: Path,
        walk: HeardWalk,
        *,
        program_version: str,
        recorded_at: datetime | None = None,
    ) -> KeptRecording:
        """Keep a recording, what was heard in it, and all its readings: all of it or nothing.

        The same content at the same visit with the same walk is kept once; at another visit its
        file is kept once.

        Parameters
        ----------
        visit_id : int
        source : Path
            The recording; it is copied.
        walk : HeardWalk
            What was heard in it.
        program_version : str
            Of the program that heard it.
        recorded_at : datetime or None
            When it was made, time-zone aware, where that is known.

        Raises
        ------
        InputError
            When the recording cannot be read.
        BookError
            When there is no such visit, it is closed, it has this recording with another walk, or
            the disk is full.
        """
        with self._reading() as session:
            self._visit_at_work(session, visit_id)  # refuse before copying what may be an hour
        incoming = self.sounds.copy_in(source)
        try:
            with self._writing() as session:
                visit = self._visit_at_work(session, visit_id)
                organ_id = visit.organ_id
                kept = self._kept_already(session, visit_id, incoming, walk, program_version)
                sound = session.get(SoundRow, incoming.sha256)
                if sound is None:
                    sound = SoundRow(
                        sha256=incoming.sha256,
                        extension=incoming.extension,
                        bytes=incoming.bytes,
                    )
                    session.add(sound)
                # A file that lies there is replaced by the same content, which mends a damaged one.
                self.sounds.give_name(incoming, sound.extension)
                if kept is not None:
                    return kept
                recording = RecordingRow(
                    visit_id=visit_id,
                    sound=sound,
                    file_name=source.name,
                    recorded_at=None
                    if recorded_at is None
                    else instant(recorded_at, "The recording's time"),
                    kept_at=self._now(),
                )
                hearing = HearingRow(
                    recording=recording,
                    description_id=self._newest_description(session, organ_id).id,
                    program_version=program_version,
                    heard_at=recording.kept_at,
                )
                fill_hearing(hearing, walk)
                session.add(hearing)
                session.flush()
                return _recording_of(hearing)
        except BaseException:
            if not incoming.part.exists():
                self._withdraw(incoming)
            raise
        finally:
            incoming.drop()

    def take_in_again(
        self, recording_id: int, walk: HeardWalk, *, program_version: str
    ) -> KeptRecording:
        """Keep what a newer program, or a better telling of the stops drawn, heard in a recording.

        The old readings stay, superseded. This is open to closed visits as well: it is about how a
        recording is heard, and changes nothing that was done.

        Parameters
        ----------
        recording_id : int
        walk : HeardWalk
        program_version : str

        Raises
        ------
        BookError
            When there is no such recording.
        """
        with self._writing() as session:
            recording = self._get(session, RecordingRow, recording_id, "recording")
            query = current_hearings().where(HearingRow.recording_id == recording_id)
            old = session.scalars(query.options(*_WHOLE_WALK)).one()
            if old.program_version == program_version and walk_of(old) == walk:
                return _recording_of(old)
            visit = recording.visit
            hearing = HearingRow(
                recording=recording,
                supersedes_id=old.id,
                description_id=self._newest_description(session, visit.organ_id).id,
                program_version=program_version,
                heard_at=self._now(),
            )
            fill_hearing(hearing, walk)
            supersede_readings(old.holds, hearing.holds)
            session.add(hearing)
            session.flush()
            return _recording_of(hearing)

    def recordings(self, visit_id: int) -> tuple[KeptRecording, ...]:
        """Every recording of a visit with its newest hearing, in the order in which they came."""
        with self._reading() as session:
            self._get(session, VisitRow, visit_id, "visit")
            query = (
                current_hearings()
                .join(HearingRow.recording)
                .where(RecordingRow.visit_id == visit_id)
                .order_by(RecordingRow.id)
                .options(*_WHOLE_WALK)
            )
            return tuple(_recording_of(row) for row in session.scalars(query))

    def told_airs(self, visit_id: int) -> dict[int, float | None]:
        """The air that was told for each recording of a visit, by the recording's id [°C]."""
        with self._reading() as session:
            query = (
                current_hearings()
                .join(HearingRow.recording)
                .where(RecordingRow.visit_id == visit_id)
                .with_only_columns(HearingRow.recording_id, HearingRow.air_celsius)
            )
            return {row[0]: row[1] for row in session.execute(query)}

    def recording(self, recording_id: int) -> KeptRecording:
        """One recording with its newest hearing; BookError where there is none."""
        with self._reading() as session:
            self._get(session, RecordingRow, recording_id, "recording")
            query = current_hearings().where(HearingRow.recording_id == recording_id)
            return _recording_of(session.scalars(query.options(*_WHOLE_WALK)).one())

    def hearings(self, recording_id: int) -> tuple[KeptRecording, ...]:
        """One recording as each program heard it, oldest first; BookError where there is none."""
        with self._reading() as session:
            self._get(session, RecordingRow, recording_id, "recording")
            query = (
                select(HearingRow)
                .where(HearingRow.recording_id == recording_id)
                .order_by(HearingRow.id)
                .options(*_WHOLE_WALK)
            )
            return tuple(_recording_of(row) for row in session.scalars(query))

    def sound_path(self, recording_id: int) -> Path:
        """Where the sound of a recording lies.

        Raises
        ------
        BookError
            When there is no such recording, or its file is missing.
        """
        with self._reading() as session:
            row = self._get(session, RecordingRow, recording_id, "recording")
            path = self.sounds.path_of(row.sha256, row.sound.extension)
            if not path.is_file():
                raise self._error(
                    f"The file of recording {recording_id} ({row.file_name}) is missing.",
                    "Bring the file back from a copy of the book.",
                )
            return path

    def sound_names(self) -> tuple[str, ...]:
        """The names of all files that should lie in the recordings folder, in order."""
        with self._reading() as session:
            rows = session.scalars(select(SoundRow).order_by(SoundRow.sha256))
            return tuple(f"{row.sha256}.{row.extension}" for row in rows)

    def restore_sound(self, source: Path) -> Path:
        """Put the file of a recording back whose own is missing or damaged.

        Parameters
        ----------
        source : Path
            A file of the same content, under any name.

        Raises
        ------
        InputError
            When it cannot be read.
        BookError
            When no recording in the book has this content, or the disk is full.
        """
        incoming = self.sounds.copy_in(source)
        try:
            with self._writing() as session:
                sound = session.get(SoundRow, incoming.sha256)
                if sound is None:
                    raise self._error(
                        f"No recording in this book has the content of {source.name}.",
                        "Take it in at a visit instead.",
                    )
                return self.sounds.give_name(incoming, sound.extension)
        finally:
            incoming.drop()

    def _kept_already(
        self,
        session: Session,
        visit_id: int,
        incoming: Incoming,
        walk: HeardWalk,
        program_version: str,
    ) -> KeptRecording | None:
        query = (
            current_hearings()
            .join(HearingRow.recording)
            .where(RecordingRow.visit_id == visit_id, RecordingRow.sha256 == incoming.sha256)
        )
        row = session.scalar(query.options(*_WHOLE_WALK))
        if row is None:
            return None
        kept = _recording_of(row)
        if (kept.walk, kept.program_version) == (walk, program_version):
            return kept
        raise self._error(
            f"Visit {visit_id} has this recording already, as recording {kept.id}"
            f" ({kept.file_name}), but heard otherwise.",
            "Take it in again to put the new readings in the place of the old.",
        )

    def _withdraw(self, incoming: Incoming) -> None:
        """Take a file away again whose row did not come to be."""
        # Under the write lock, for meanwhile another program may have kept the same content. Where
        # even this fails, a whole file without a row is left, which `check` tells.
        with suppress(BookError, OSError), self._writing() as session:
            if session.get(SoundRow, incoming.sha256) is None:
                path = self.sounds.path_of(incoming.sha256, incoming.extension)
                path.unlink(missing_ok=True)


def _recording_of(row: HearingRow) -> KeptRecording:
    recording = row.recording
    return KeptRecording(
        id=recording.id,
        visit_id=recording.visit_id,
        sha256=recording.sha256,
        file_name=recording.file_name,
        bytes=recording.sound.bytes,
        walk=walk_of(row),
        kept_at=recording.kept_at,
        program_version=row.program_version,
        recorded_at=recording.recorded_at,
        hearing_id=row.id,
        heard_at=row.heard_at,
    )
