"""Every current reading of an organ as a plain line, one after another: for tables and exports."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime
from functools import lru_cache
from typing import Any, NamedTuple

from sqlalchemy import Executable, Row, bindparam, select

from walkboard.book.models import HearingRow, HoldRow, ReadingRow, RecordingRow, VisitRow
from walkboard.book.readings.readings import best_since
from walkboard.book.records import TickState
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.superseding import current_readings
from walkboard.book.visits.ticks import counting_ticks
from walkboard.scales.keys import Key


class ReadingLine(NamedTuple):
    """A current reading with its hold and its recording's label.

    `cents`, `sigma_cents` and `hz` are None unless the pipe was measured. `counts` says whether it
    is the one of its pipe at its visit (`Readings.best_readings`).
    """

    visit_id: int
    sounded_at: datetime
    rank: str
    number: int
    key: Key | None
    drawn: tuple[str, ...]
    cents: float | None
    sigma_cents: float | None
    hz: float | None
    level_db: float | None
    air_celsius: float | None
    flags: tuple[str, ...]
    counts: bool
    file_name: str
    hold: int
    program_version: str


class ReadingLines(Storing):
    """Lines of readings."""

    def reading_lines(self, organ_id: int) -> Iterator[ReadingLine]:
        """The current readings of an organ in the order of `Readings.readings`, visit by visit.

        All as of one moment of the book; a visit's are in memory at a time.
        """
        with self._reading() as session:
            visits = (
                select(VisitRow.id).where(VisitRow.organ_id == organ_id).order_by(VisitRow.fact_uid)
            )
            for visit_id in session.scalars(visits).all():
                tuned_at = {
                    (tick.pipe.rank, tick.pipe.number): at
                    for tick, at in counting_ticks(session, visit_id)
                    if tick.state == TickState.DONE
                }
                rows = session.execute(_lines(), {"visit": visit_id}).all()
                of_pipe: dict[tuple[str, int], list[Row[Any]]] = defaultdict(list)
                for row in rows:
                    of_pipe[row.rank, row.number].append(row)
                counting = {
                    best_since(found, tuned_at.get(pipe), _sigma_cents_of, _sounded_at).id
                    for pipe, found in of_pipe.items()
                }
                for row in rows:
                    yield _line_of(row, row.id in counting)


def _sigma_cents_of(row: Row[Any]) -> float | None:
    # As `walkboard.listening.readings.reading_from_fields` says what is measured.
    is_whole = row.hz is not None and row.cents is not None
    return row.sigma_cents if is_whole else None


def _sounded_at(row: Row[Any]) -> datetime:
    return row.recorded_at or row.kept_at  # type: ignore[no-any-return]


def _line_of(row: Row[Any], counts: bool) -> ReadingLine:
    sigma_cents = _sigma_cents_of(row)
    is_measured = sigma_cents is not None
    return ReadingLine(
        row.visit_id,
        _sounded_at(row),
        row.rank,
        row.number,
        None if row.semitone is None else _key(row.semitone, row.split),
        row.drawn,
        row.cents if is_measured else None,
        sigma_cents,
        row.hz if is_measured else None,
        row.level_db,
        row.air_celsius,
        row.flags,
        counts,
        row.file_name,
        row.n,
        row.program_version,
    )


@lru_cache(maxsize=256)
def _key(semitone: int, split: bool) -> Key:
    return Key(semitone, split)


@lru_cache(maxsize=1)
def _lines() -> Executable:
    return (
        current_readings()
        .where(RecordingRow.visit_id == bindparam("visit"))
        .order_by(RecordingRow.fact_uid, HearingRow.fact_uid, HoldRow.position, ReadingRow.position)
        .with_only_columns(
            ReadingRow.id,
            ReadingRow.rank,
            ReadingRow.number,
            ReadingRow.hz,
            ReadingRow.sigma_cents,
            ReadingRow.cents,
            ReadingRow.level_db,
            ReadingRow.flags,
            HoldRow.n,
            HoldRow.semitone,
            HoldRow.split,
            HearingRow.drawn,
            HearingRow.air_celsius,
            HearingRow.program_version,
            RecordingRow.visit_id,
            RecordingRow.recorded_at,
            RecordingRow.kept_at,
            RecordingRow.file_name,
        )
    )
