"""Readings: those of a visit, the best of each pipe, and those of a pipe over the years."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from functools import lru_cache
from typing import Any, TypeVar

from sqlalchemy import Row, Select, and_, func, select
from sqlalchemy.orm import aliased

from walkboard.book.models import (
    HearingRow,
    HoldRow,
    ReadingRow,
    RecordingRow,
    VisitRow,
)
from walkboard.book.recordings.walks import key_of, reading_of
from walkboard.book.records import KeptReading, TickState
from walkboard.book.rows.storing import Storing
from walkboard.book.visits.ticks import counting_ticks
from walkboard.listening.readings import best_by_sigma
from walkboard.organ.model import PipeRef

T = TypeVar("T")

# Columns, not entities: a page asks for thousands of readings, and SQLAlchemy would track changes
# of each entity, at three times the cost.
_READING = tuple(
    column
    for column in ReadingRow.__table__.columns
    if column.name not in {"hold_id", "position", "supersedes_id"}
)


class Readings(Storing):
    """Readings."""

    def readings(self, visit_id: int, *, as_of: datetime | None = None) -> tuple[KeptReading, ...]:
        """The current readings of a visit, in the order of recordings, holds and pipes.

        Parameters
        ----------
        visit_id : int
        as_of : datetime or None
            Take the readings current then, as when the visit was closed; None for now.

        Raises
        ------
        BookError
            When there is no such visit.
        """
        return tuple(r for r in self.every_reading(visit_id, as_of=as_of) if r.is_current)

    def every_reading(
        self, visit_id: int, *, as_of: datetime | None = None
    ) -> tuple[KeptReading, ...]:
        """The same, including superseded ones, which say so."""
        with self._reading() as session:
            self._get(session, VisitRow, visit_id, "visit")
            query = _kept_readings(as_of).where(RecordingRow.visit_id == visit_id)
            return tuple(_kept_of(row) for row in session.execute(query))

    def count_readings(self, organ_id: int) -> int:
        """How many readings of an organ's pipes are in the book, superseded ones too."""
        with self._reading() as session:
            query = (
                select(func.count())
                .select_from(ReadingRow)
                .join(HoldRow, ReadingRow.hold_id == HoldRow.id)
                .join(HearingRow, HoldRow.hearing_id == HearingRow.id)
                .join(RecordingRow, HearingRow.recording_id == RecordingRow.id)
                .join(VisitRow, RecordingRow.visit_id == VisitRow.id)
                .where(VisitRow.organ_id == organ_id)
            )
            return session.scalar(query) or 0

    def best_readings(
        self, visit_id: int, *, as_of: datetime | None = None
    ) -> dict[PipeRef, KeptReading]:
        """One reading for each pipe heard at a visit.

        Of a pipe's current readings with a value, those from recordings made after its tuning was
        ticked, if there are any; of these the one with the smallest sigma, and of equal ones the
        newest. A pipe without any value comes with its newest reading, whose flags say why.

        Parameters
        ----------
        visit_id : int
        as_of : datetime or None
            As for `readings`.
        """
        return best_of(self.readings(visit_id, as_of=as_of), self.tuned_at(visit_id))

    def tuned_at(self, visit_id: int) -> dict[PipeRef, datetime]:
        """When each pipe that was ticked as done at a visit was tuned."""
        with self._reading() as session:
            return {
                tick.pipe: at
                for tick, at in counting_ticks(session, visit_id)
                if tick.state == TickState.DONE
            }

    def readings_of_pipe(self, organ_id: int, pipe: PipeRef) -> tuple[KeptReading, ...]:
        """The current readings of one pipe over all visits, oldest first.

        Raises
        ------
        BookError
            When there is no such organ.
        """
        return tuple(r for r in self.every_reading_of_pipe(organ_id, pipe) if r.is_current)

    def every_reading_of_pipe(self, organ_id: int, pipe: PipeRef) -> tuple[KeptReading, ...]:
        """The same, including superseded ones, which say so."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = (
                _kept_readings(None)
                .join(VisitRow, RecordingRow.visit_id == VisitRow.id)
                .where(VisitRow.organ_id == organ_id)
                .where(ReadingRow.rank == pipe.rank, ReadingRow.number == pipe.number)
            )
            return tuple(_kept_of(row) for row in session.execute(query))


def best_of(
    readings: Iterable[KeptReading], tuned_at: Mapping[PipeRef, datetime]
) -> dict[PipeRef, KeptReading]:
    """One reading per pipe, chosen as `Readings.best_readings` says.

    Parameters
    ----------
    readings : iterable of KeptReading
        Oldest first.
    tuned_at : mapping of PipeRef to datetime
        When a pipe was tuned at this visit.
    """
    of_pipe: dict[PipeRef, list[KeptReading]] = defaultdict(list)
    for reading in readings:
        of_pipe[reading.reading.pipe].append(reading)
    return {
        pipe: best_since(
            found,
            tuned_at.get(pipe),
            lambda kept: kept.reading.sigma_cents_or_none,
            lambda kept: kept.sounded_at,
        )
        for pipe, found in of_pipe.items()
    }


def best_since(
    readings: list[T],
    tuned_at: datetime | None,
    sigma_cents_of: Callable[[T], float | None],
    sounded_at_of: Callable[[T], datetime | None],
) -> T:
    """From one pipe's readings, oldest first, the one that `Readings.best_readings` gives."""
    if tuned_at is not None:
        since = [
            one
            for one in readings
            if sigma_cents_of(one) is not None
            and (sounded_at := sounded_at_of(one)) is not None
            and sounded_at >= tuned_at
        ]
        readings = since or readings
    return best_by_sigma(readings, sigma_cents_of)


@lru_cache(maxsize=1)  # of None alone: an export asks once a visit, and building it takes longer
def _kept_readings(as_of: datetime | None) -> Select[Any]:
    newer_hearing, newer_reading = aliased(HearingRow), aliased(ReadingRow)
    takes_place = newer_hearing.supersedes_id == HearingRow.id
    if as_of is not None:
        takes_place = and_(takes_place, newer_hearing.heard_at <= as_of)
    query = (
        select(
            *_READING,
            HoldRow.n,
            HoldRow.semitone,
            HoldRow.split,
            HearingRow.id.label("hearing_id"),
            HearingRow.program_version,
            RecordingRow.id.label("recording_id"),
            RecordingRow.visit_id,
            RecordingRow.recorded_at,
            RecordingRow.kept_at,
            newer_hearing.id.label("superseded_in"),
            newer_reading.id.label("superseded_by"),
        )
        .join(HoldRow, ReadingRow.hold_id == HoldRow.id)
        .join(HearingRow, HoldRow.hearing_id == HearingRow.id)
        .join(RecordingRow, HearingRow.recording_id == RecordingRow.id)
        .outerjoin(newer_hearing, takes_place)
        .outerjoin(
            newer_reading,
            and_(newer_reading.supersedes_id == ReadingRow.id, newer_hearing.id.is_not(None)),
        )
        .order_by(RecordingRow.fact_uid, HearingRow.fact_uid, HoldRow.position, ReadingRow.position)
    )
    return query if as_of is None else query.where(HearingRow.heard_at <= as_of)


def _kept_of(row: Row[Any]) -> KeptReading:
    return KeptReading(
        id=row.id,
        recording_id=row.recording_id,
        reading=reading_of(row),
        program_version=row.program_version,
        superseded_by=row.superseded_by,
        superseded_in=row.superseded_in,
        visit_id=row.visit_id,
        hearing_id=row.hearing_id,
        hold=row.n,
        key=key_of(row),
        sounded_at=row.recorded_at or row.kept_at,
    )
