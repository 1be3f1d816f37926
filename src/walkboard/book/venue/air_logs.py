"""Logged air: one logger's readings at one place, one row per file."""

from __future__ import annotations

from sqlalchemy import Select, select
from sqlalchemy.orm import aliased

from walkboard.book.models import AirLogRow
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.values import instant
from walkboard.book.venue.records import AirLog
from walkboard.errors import BookError


class AirLogs(Storing):
    """Logged air. A log can replace an earlier one whose clock was wrong."""

    def keep_air_log(self, organ_id: int, log: AirLog, *, in_place_of: int | None = None) -> AirLog:
        """Store one logger's readings; the same readings of a place are stored once.

        Parameters
        ----------
        organ_id : int
        log : AirLog
        in_place_of : int or None
            Id of the log it corrects.

        Raises
        ------
        BookError
            If there is no such organ or log, the lengths differ, or the times do not rise.
        """
        rising = all(a < b for a, b in zip(log.minutes, log.minutes[1:], strict=False))
        if (
            not log.minutes
            or not rising
            or len(log.celsius) != len(log.minutes)
            or len(log.humidity) not in {0, len(log.minutes)}
        ):
            raise BookError(
                f"The log {log.file_name} is not a series of readings in order of time.",
                fix="Read the logger's file again.",
            )
        with self._writing() as session:
            self._newest_description(session, organ_id)
            if in_place_of is not None:
                self._get(session, AirLogRow, in_place_of, "log")
            for row in session.scalars(_standing(organ_id)):
                known = _log_of(row)
                if _content(known) == _content(log):
                    return known
            row = AirLogRow(
                organ_id=organ_id,
                supersedes_id=in_place_of,
                place=log.place,
                file_name=log.file_name,
                starts_at=instant(log.starts_at, "The log's first reading"),
                minutes=log.minutes,
                celsius=log.celsius,
                humidity=log.humidity,
                kept_at=self._now(),
            )
            session.add(row)
            session.flush()
            return _log_of(row)

    def air_logs(self, organ_id: int) -> tuple[AirLog, ...]:
        """The current logs of an organ, in order of their start."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = _standing(organ_id).order_by(AirLogRow.starts_at, AirLogRow.fact_uid)
            return tuple(_log_of(row) for row in session.scalars(query))


def _standing(organ_id: int) -> Select[AirLogRow]:
    newer = aliased(AirLogRow)
    superseded = select(newer.id).where(newer.supersedes_id == AirLogRow.id)
    return select(AirLogRow).where(AirLogRow.organ_id == organ_id, ~superseded.exists())


def _content(log: AirLog) -> tuple[object, ...]:
    return log.place, log.starts_at, log.minutes, log.celsius, log.humidity


def _log_of(row: AirLogRow) -> AirLog:
    return AirLog(
        place=row.place,
        file_name=row.file_name,
        starts_at=row.starts_at,
        minutes=row.minutes,
        celsius=row.celsius,
        humidity=row.humidity,
        id=row.id,
    )
