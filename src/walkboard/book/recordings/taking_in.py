"""Recordings imported at a visit, relabelled, withdrawn, and their files restored."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from walkboard.book.files.sounds import Incoming
from walkboard.book.models import (
    DescriptionRow,
    HearingRow,
    RecordingRow,
    SoundRow,
)
from walkboard.book.recordings.recordings import WHOLE_WALK, Recordings, recording_of
from walkboard.book.recordings.walks import fill_hearing
from walkboard.book.records import HearingChange, KeptRecording
from walkboard.book.rows.superseding import (
    newest_hearings,
    supersede_readings,
)
from walkboard.book.rows.values import instant
from walkboard.errors import BookError
from walkboard.survey.hear.heard_walk import HeardWalk


class TakingIn(Recordings):
    """Importing, relabelling and withdrawing recordings."""

    def keep_recording(
        self,
        visit_id: int,
        source: Path,
        walk: HeardWalk,
        *,
        program_version: str,
        recorded_at: datetime | None = None,
    ) -> KeptRecording:
        """Store a recording, what was heard in it, and all its readings: all of it or nothing.

        The same content with the same walk is stored once per visit; its file is stored once for
        all visits. A withdrawn recording counts again.

        Parameters
        ----------
        visit_id : int
        source : Path
            The recording; it is copied.
        walk : HeardWalk
            What was heard in it.
        program_version : str
            Version of the program that heard it.
        recorded_at : datetime or None
            When it was made, time-zone aware, if known.

        Raises
        ------
        InputError
            When the recording cannot be read.
        BookError
            When there is no such visit, it is closed, it has this recording with another label,
            or the disk is full.
        """
        with self._reading() as session:
            self._visit_at_work(session, visit_id)  # refuse before copying what may be an hour
        incoming = self.sounds.copy_in(source)
        try:
            with self._writing() as session:
                visit = self._visit_at_work(session, visit_id)
                organ_id = visit.organ_id
                old = self._known(session, visit_id, incoming)
                kept = self._unchanged(old, walk, program_version)
                sound = session.get(SoundRow, incoming.sha256)
                if sound is None:
                    sound = SoundRow(
                        sha256=incoming.sha256,
                        extension=incoming.extension,
                        bytes=incoming.bytes,
                    )
                    session.add(sound)
                # An existing file is replaced by the same content, which repairs a damaged one.
                self.sounds.give_name(incoming, sound.extension)
                if kept is not None:
                    return kept
                if old is not None:
                    return self._hear_again(session, old, walk, program_version)
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
                    description=self._newest_description(session, organ_id),
                    program_version=program_version,
                    heard_at=recording.kept_at,
                    change=HearingChange.NONE.value,
                    words="",
                )
                fill_hearing(hearing, walk)
                session.add(hearing)
                session.flush()
                return recording_of(hearing)
        except BaseException:
            if not incoming.part.exists():
                self._withdraw(incoming)
            raise
        finally:
            incoming.drop()

    def take_in_again(
        self, recording_id: int, walk: HeardWalk, *, program_version: str
    ) -> KeptRecording:
        """Store what a newer program heard in a recording; its label stays the same.

        The old readings stay, superseded. Works for closed visits too: it changes how a recording
        is heard, not what was done. A withdrawn recording counts again.

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
            old = self._heard_last(session, recording_id)
            kept = recording_of(old)
            if (kept.program_version, kept.walk, kept.is_withdrawn) == (
                program_version,
                walk,
                False,
            ):
                return kept
            return self._hear_again(session, old, walk, program_version)

    def relabel_recording(
        self,
        recording_id: int,
        walk: HeardWalk,
        *,
        program_version: str,
        words: str = "",
        organ_version: int | None = None,
    ) -> KeptRecording:
        """Store what was heard in a recording under another label: stops, air or description.

        The first label and its readings stay in the book, superseded (`hearings`). Works for closed
        visits too. A plan made from the old readings no longer counts (`current_plan`).

        Parameters
        ----------
        recording_id : int
        walk : HeardWalk
            Heard again, with the new label.
        program_version : str
        words : str
            Why; may be empty.
        organ_version : int or None
            Version of the description it was heard with; None: the newest.

        Raises
        ------
        BookError
            When there is no such recording, or no such version of the description.
        """
        with self._writing() as session:
            old = self._heard_last(session, recording_id)
            return self._hear_again(
                session,
                old,
                walk,
                program_version,
                change=HearingChange.RELABELLED,
                words=words,
                organ_version=organ_version,
            )

    def withdraw_recording(self, recording_id: int, words: str = "") -> KeptRecording:
        """Withdraw a recording: it no longer counts but stays in the book with all that was heard
        in it.

        Importing it again, or relabelling it, brings it back. Works for closed visits too;
        withdrawing twice changes nothing.

        Parameters
        ----------
        recording_id : int
        words : str
            Why; may be empty.

        Raises
        ------
        BookError
            When there is no such recording.
        """
        with self._writing() as session:
            old = self._heard_last(session, recording_id)
            kept = recording_of(old)
            if kept.is_withdrawn:
                return kept
            return self._hear_again(
                session,
                old,
                replace(kept.walk, holds=(), silent_keys=()),
                kept.program_version,
                change=HearingChange.WITHDRAWN,
                words=words,
                organ_version=kept.organ_version,
            )

    def restore_sound(self, source: Path) -> Path:
        """Restore the file of a recording that is missing or damaged.

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
                        "Import it at a visit instead.",
                    )
                return self.sounds.give_name(incoming, sound.extension)
        finally:
            incoming.drop()

    def _known(self, session: Session, visit_id: int, incoming: Incoming) -> HearingRow | None:
        """The newest hearing of the same content at a visit."""
        query = (
            newest_hearings()
            .join(HearingRow.recording)
            .where(RecordingRow.visit_id == visit_id, RecordingRow.sha256 == incoming.sha256)
        )
        return session.scalar(query.options(*WHOLE_WALK))

    def _unchanged(
        self, old: HearingRow | None, walk: HeardWalk, program_version: str
    ) -> KeptRecording | None:
        """The recording as already stored, or None if there is something new to store."""
        if old is None or old.change == HearingChange.WITHDRAWN:
            return None
        kept = recording_of(old)
        if (kept.walk, kept.program_version) == (walk, program_version):
            return kept
        if (kept.walk.drawn, kept.walk.air_celsius) == (walk.drawn, walk.air_celsius):
            return None  # the same label, heard again
        raise self._error(
            f"Visit {kept.visit_id} already has this recording, as recording {kept.id}"
            f" ({kept.file_name}), with another label: {', '.join(kept.walk.drawn)} drawn"
            + ("." if (air := kept.walk.air_celsius) is None else f", air of {air:g} °C."),
            "If that label is wrong, change it:"
            f" walkboard visit relabel BOOK {kept.id} --drawn STOP[,STOP...]",
        )

    def _hear_again(
        self,
        session: Session,
        old: HearingRow,
        walk: HeardWalk,
        program_version: str,
        *,
        change: HearingChange = HearingChange.NONE,
        words: str = "",
        organ_version: int | None = None,
    ) -> KeptRecording:
        hearing = HearingRow(
            recording=old.recording,
            supersedes_id=old.id,
            description=self._description(session, old.recording.visit.organ_id, organ_version),
            program_version=program_version,
            heard_at=self._now(),
            change=change.value,
            words=words,
        )
        fill_hearing(hearing, walk)
        supersede_readings(old.holds, hearing.holds)
        session.add(hearing)
        session.flush()
        return recording_of(hearing)

    def _description(self, session: Session, organ_id: int, version: int | None) -> DescriptionRow:
        if version is None:
            return self._newest_description(session, organ_id)
        query = select(DescriptionRow).where(
            DescriptionRow.organ_id == organ_id, DescriptionRow.version == version
        )
        found = session.scalar(query)
        if found is None:
            raise self._error(
                f"Organ {organ_id} has no description {version} in this book.",
                "'walkboard book show' gives the newest one's number.",
            )
        return found

    def _withdraw(self, incoming: Incoming) -> None:
        """Remove a file whose row was not written."""
        # Under the write lock, because another program may have stored the same content meanwhile.
        # If even this fails, a file without a row is left, which `check` reports.
        with suppress(BookError, OSError), self._writing() as session:
            if session.get(SoundRow, incoming.sha256) is None:
                path = self.sounds.path_of(incoming.sha256, incoming.extension)
                path.unlink(missing_ok=True)
