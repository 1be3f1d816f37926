"""Recordings of the visits, each with what was heard in it and its label."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload, selectinload

from walkboard.book.models import (
    HearingRow,
    HoldRow,
    RecordingRow,
    SoundRow,
    VisitRow,
)
from walkboard.book.recordings.walks import clock_of, walk_of
from walkboard.book.records import HearingChange, KeptRecording, RecordingLabel
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.superseding import (
    current_hearings,
    newest_hearings,
    same_recording,
)

WHOLE_WALK = (
    joinedload(HearingRow.recording).joinedload(RecordingRow.sound),
    joinedload(HearingRow.description),
    selectinload(HearingRow.holds).selectinload(HoldRow.readings),
)


class Recordings(Storing):
    """Recordings in the book."""

    def withdrawn_recordings(self, visit_id: int) -> tuple[KeptRecording, ...]:
        """The withdrawn recordings of a visit, in order of arrival."""
        with self._reading() as session:
            self._get(session, VisitRow, visit_id, "visit")
            query = (
                newest_hearings()
                .where(HearingRow.change == HearingChange.WITHDRAWN)
                .join(HearingRow.recording)
                .where(RecordingRow.visit_id == visit_id)
                .order_by(RecordingRow.fact_uid)
                .options(*WHOLE_WALK)
            )
            return tuple(recording_of(row) for row in session.scalars(query))

    def recording_counts(self, organ_id: int) -> dict[int, int]:
        """How many recordings count at each visit of an organ; visits without any are left out."""
        with self._reading() as session:
            query = (
                current_hearings()
                .join(HearingRow.recording)
                .join(VisitRow, RecordingRow.visit_id == VisitRow.id)
                .where(VisitRow.organ_id == organ_id)
                .with_only_columns(RecordingRow.visit_id, func.count())
                .group_by(RecordingRow.visit_id)
            )
            return {row[0]: row[1] for row in session.execute(query)}

    def recordings(self, visit_id: int) -> tuple[KeptRecording, ...]:
        """Every recording of a visit that counts, with its newest hearing, in order of arrival."""
        with self._reading() as session:
            self._get(session, VisitRow, visit_id, "visit")
            query = (
                current_hearings()
                .join(HearingRow.recording)
                .where(RecordingRow.visit_id == visit_id)
                .order_by(RecordingRow.fact_uid)
                .options(*WHOLE_WALK)
            )
            return tuple(recording_of(row) for row in session.scalars(query))

    def recording_airs(self, visit_id: int) -> dict[int, float | None]:
        """The air given for each recording of a visit that counts, by the recording's id [°C]."""
        with self._reading() as session:
            query = (
                current_hearings()
                .join(HearingRow.recording)
                .where(RecordingRow.visit_id == visit_id)
                .with_only_columns(HearingRow.recording_id, HearingRow.air_celsius)
            )
            return {row[0]: row[1] for row in session.execute(query)}

    def recording_clocks(self, visit_id: int) -> dict[int, float]:
        """What the recorder's clock may add to each of those recordings, by id [cents, 1 σ]."""
        with self._reading() as session:
            query = (
                current_hearings()
                .join(HearingRow.recording)
                .where(RecordingRow.visit_id == visit_id)
                .with_only_columns(HearingRow.recording_id, HearingRow.heard)
            )
            return {row[0]: clock_of(row[1]) for row in session.execute(query)}

    def recording_labels(self, visit_id: int) -> dict[int, RecordingLabel]:
        """The label of each recording of a visit that counts, by the recording's id."""
        with self._reading() as session:
            query = (
                current_hearings()
                .join(HearingRow.recording)
                .where(RecordingRow.visit_id == visit_id)
                .with_only_columns(
                    HearingRow.recording_id,
                    RecordingRow.file_name,
                    HearingRow.drawn,
                    HearingRow.air_celsius,
                )
            )
            return {row[0]: RecordingLabel(*row[1:]) for row in session.execute(query)}

    def recording(self, recording_id: int) -> KeptRecording:
        """One recording with its newest hearing; BookError if there is none."""
        with self._reading() as session:
            return recording_of(self._heard_last(session, recording_id))

    def hearings(self, recording_id: int) -> tuple[KeptRecording, ...]:
        """Every hearing and label of one recording, oldest first.

        If two copies of the book each imported it at the same visit, those of both.

        Raises
        ------
        BookError
            When there is no such recording.
        """
        with self._reading() as session:
            self._get(session, RecordingRow, recording_id, "recording")
            query = (
                select(HearingRow)
                .where(HearingRow.recording_id.in_(same_recording(recording_id)))
                .order_by(HearingRow.fact_uid)
                .options(*WHOLE_WALK)
            )
            return tuple(recording_of(row) for row in session.scalars(query))

    def sound_path(self, recording_id: int) -> Path:
        """The sound file of a recording.

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
                    "Bring the file back from a copy of the book, or work in the book that this"
                    " copy was taken from.",
                )
            return path

    def sound_names(self) -> tuple[str, ...]:
        """The names of all files that should be in the recordings folder, in order."""
        with self._reading() as session:
            rows = session.scalars(select(SoundRow).order_by(SoundRow.sha256))
            return tuple(f"{row.sha256}.{row.extension}" for row in rows)

    def _heard_last(self, session: Session, recording_id: int) -> HearingRow:
        self._get(session, RecordingRow, recording_id, "recording")
        query = newest_hearings().where(HearingRow.recording_id.in_(same_recording(recording_id)))
        return session.scalars(query.options(*WHOLE_WALK)).one()


def recording_of(row: HearingRow) -> KeptRecording:
    """The recording of a hearing, with what was heard in it."""
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
        change=HearingChange(row.change),
        words=row.words,
        organ_version=row.description.version,
    )
