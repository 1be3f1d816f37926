"""Calendar events: what the organ must be ready for."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from walkboard.book.models import EventRow
from walkboard.book.records import KeptEvent
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.superseding import current
from walkboard.book.rows.values import instant, plausible
from walkboard.planning.value.use import EventUse
from walkboard.planning.value.use_json import use_from_json, use_to_json
from walkboard.plausible import AIR_CELSIUS, EVENT_YEAR


class Events(Storing):
    """The calendar."""

    def keep_event(
        self,
        organ_id: int,
        uid: str,
        starts_at: datetime,
        title: str,
        *,
        stops: tuple[str, ...] = (),
        air_celsius: float | None = None,
    ) -> KeptEvent:
        """Add an event, or update the one with this uid.

        Parameters
        ----------
        organ_id : int
        uid : str
            The calendar's id for it, unique per organ.
        starts_at : datetime
            Time-zone aware.
        title : str
        stops : tuple of str
            The stops known to be used.
        air_celsius : float or None
            Air temperature expected [°C].

        Notes
        -----
        How the event uses the organ, and air by division, stay the same: calendars do not give them
        (`keep_event_use`).

        Raises
        ------
        BookError
            When there is no such organ, the uid is empty, the start has no time zone, or a figure
            is out of range.
        """
        if not uid:
            raise self._error("An event must have a uid.", "Give it one that no other event has.")
        plausible(starts_at.year, EVENT_YEAR, "The year of the event")
        new = EventRow(
            organ_id=organ_id,
            uid=uid,
            starts_at=instant(starts_at, "The start of the event"),
            title=title,
            stops=tuple(stops),
            air_celsius=plausible(air_celsius, AIR_CELSIUS, "The air of the event"),
            cancelled=False,
        )
        with self._writing() as session:
            self._newest_description(session, organ_id)
            old = _event_row(session, organ_id, uid)
            new.uses = "[]" if old is None else old.uses
            new.air_by_division = "{}" if old is None else old.air_by_division
            return self._supersede(session, old, new)

    def keep_event_use(
        self,
        organ_id: int,
        uid: str,
        *,
        use: EventUse | None = None,
        air_by_division: Mapping[str, float] | None = None,
    ) -> KeptEvent:
        """Store how an event uses the organ, and its air by division; None leaves either unchanged.

        Raises
        ------
        BookError
            When there is no such event.
        """
        with self._writing() as session:
            old = self._event_to_change(session, organ_id, uid)
            new = _copy_of(old)
            if use is not None:
                new.uses = json.dumps(use_to_json(use), ensure_ascii=False)
            if air_by_division is not None:
                air = {
                    d: plausible(c, AIR_CELSIUS, f"The air of {d}")
                    for d, c in air_by_division.items()
                }
                new.air_by_division = json.dumps(air, ensure_ascii=False)
            return self._supersede(session, old, new)

    def cancel_event(self, organ_id: int, uid: str) -> KeptEvent:
        """Cancel an event; adding it again brings it back.

        Raises
        ------
        BookError
            When there is no such event.
        """
        with self._writing() as session:
            old = self._event_to_change(session, organ_id, uid)
            new = _copy_of(old)
            new.cancelled = True
            return self._supersede(session, old, new)

    def events(self, organ_id: int) -> tuple[KeptEvent, ...]:
        """The current events of an organ, including cancelled ones, by their start."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = _newest_events(organ_id).order_by(EventRow.starts_at, EventRow.fact_uid)
            return tuple(_event_of(row, None) for row in session.scalars(query))

    def event_versions(self, organ_id: int, uid: str) -> tuple[KeptEvent, ...]:
        """Every version of an event, oldest first."""
        with self._reading() as session:
            query = (
                select(EventRow)
                .where(EventRow.organ_id == organ_id, EventRow.uid == uid)
                .order_by(EventRow.fact_uid)
            )
            rows = list(session.scalars(query))
            newer = {row.supersedes_id: row.id for row in rows}
            return tuple(_event_of(row, newer.get(row.id)) for row in rows)

    def _event_to_change(self, session: Session, organ_id: int, uid: str) -> EventRow:
        old = _event_row(session, organ_id, uid)
        if old is None:
            raise self._error(
                f"Organ {organ_id} has no event {uid!r} in this book.", "List the events."
            )
        return old

    def _supersede(self, session: Session, old: EventRow | None, new: EventRow) -> KeptEvent:
        if old is not None:
            if _said(old) == _said(new):
                return _event_of(old, None)
            new.supersedes_id = old.id
        new.kept_at = self._now()
        session.add(new)
        session.flush()
        return _event_of(new, None)


def _newest_events(organ_id: int) -> Select[EventRow]:
    return current(EventRow).where(EventRow.organ_id == organ_id)


def _event_row(session: Session, organ_id: int, uid: str) -> EventRow | None:
    return session.scalar(_newest_events(organ_id).where(EventRow.uid == uid))


def _said(row: EventRow) -> tuple[object, ...]:
    return (
        row.starts_at,
        row.title,
        row.stops,
        row.air_celsius,
        row.cancelled,
        row.uses,
        row.air_by_division,
    )


def _copy_of(row: EventRow) -> EventRow:
    return EventRow(
        organ_id=row.organ_id,
        uid=row.uid,
        starts_at=row.starts_at,
        title=row.title,
        stops=row.stops,
        air_celsius=row.air_celsius,
        cancelled=row.cancelled,
        uses=row.uses,
        air_by_division=row.air_by_division,
    )


def _event_of(row: EventRow, superseded_by: int | None) -> KeptEvent:
    return KeptEvent(
        id=row.id,
        organ_id=row.organ_id,
        uid=row.uid,
        starts_at=row.starts_at,
        title=row.title,
        stops=row.stops,
        air_celsius=row.air_celsius,
        kept_at=row.kept_at,
        cancelled=row.cancelled,
        superseded_by=superseded_by,
        use=use_from_json(json.loads(row.uses), where=f"event {row.uid}"),
        air_by_division=dict(json.loads(row.air_by_division)),
    )
