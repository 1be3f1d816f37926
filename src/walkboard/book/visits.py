"""Visits: opened, their conditions and notes, closed."""

from __future__ import annotations

from types import MappingProxyType

from sqlalchemy import select
from sqlalchemy.orm import Session

from walkboard.book.models import ConditionsRow, DivisionConditionsRow, NoteRow, VisitRow
from walkboard.book.records import Conditions, KeptNote, KeptVisit
from walkboard.book.storing import Storing
from walkboard.book.values import instant, number_or_none


class Visits(Storing):
    """Opening visits and closing them."""

    def open_visit(
        self,
        organ_id: int,
        purpose: str,
        *,
        minutes: float | None = None,
        conditions: Conditions | None = None,
    ) -> KeptVisit:
        """Open a visit to an organ, with its conditions on arrival if they are known.

        Parameters
        ----------
        organ_id : int
        purpose : str
            As "before the Easter services".
        minutes : float or None
            That there are [min].
        conditions : Conditions or None

        Raises
        ------
        BookError
            When there is no such organ, or another visit to it is still open.
        """
        with self._writing() as session:
            description = self._newest_description(session, organ_id)
            other = _open_visit_of(session, organ_id)
            if other is not None:
                raise self._error(
                    f"Visit {other.id} to {description.name} ({other.purpose}) is still open.",
                    "Go on with it, or close it first.",
                )
            row = VisitRow(
                organ_id=organ_id,
                description=description,
                purpose=purpose,
                minutes=number_or_none(minutes, "The minutes"),
                opened_at=self._now(),
                closing_note="",
            )
            session.add(row)
            if conditions is not None:
                row.conditions.append(self._conditions_row(conditions))
            session.flush()
            return _visit_of(row)

    def note_conditions(self, visit_id: int, conditions: Conditions) -> KeptVisit:
        """Note the conditions anew, as often as they are taken; the earlier ones stay.

        Raises
        ------
        BookError
            When there is no such visit, or it is closed.
        """
        with self._writing() as session:
            row = self._visit_at_work(session, visit_id)
            row.conditions.append(self._conditions_row(conditions))
            session.flush()
            return _visit_of(row)

    def add_note(self, visit_id: int, words: str) -> KeptVisit:
        """Add a note to a visit, open or closed.

        Raises
        ------
        BookError
            When there is no such visit.
        """
        with self._writing() as session:
            row = self._get(session, VisitRow, visit_id, "visit")
            row.notes.append(NoteRow(words=words, noted_at=self._now()))
            session.flush()
            return _visit_of(row)

    def close_visit(self, visit_id: int, note: str = "") -> KeptVisit:
        """Close a visit, for good: it can then only be read, and notes added.

        Raises
        ------
        BookError
            When there is no such visit, or it is closed already.
        """
        with self._writing() as session:
            row = self._visit_at_work(session, visit_id)
            row.closed_at = self._now()
            row.closing_note = note
            session.flush()
            return _visit_of(row)

    def visit(self, visit_id: int) -> KeptVisit:
        """One visit; BookError where there is none."""
        with self._reading() as session:
            return _visit_of(self._get(session, VisitRow, visit_id, "visit"))

    def visits(self, organ_id: int) -> tuple[KeptVisit, ...]:
        """Every visit to an organ, oldest first."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = select(VisitRow).where(VisitRow.organ_id == organ_id).order_by(VisitRow.id)
            return tuple(_visit_of(row) for row in session.scalars(query))

    def visit_in_progress(self, organ_id: int) -> KeptVisit | None:
        """The open visit to an organ, or None."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            row = _open_visit_of(session, organ_id)
            return None if row is None else _visit_of(row)

    def _conditions_row(self, conditions: Conditions) -> ConditionsRow:
        air, wind = conditions.air_celsius, conditions.wind_mm
        return ConditionsRow(
            noted_at=instant(conditions.noted_at or self._now(), "The time of the conditions"),
            humidity=number_or_none(conditions.humidity, "The humidity"),
            divisions=[
                DivisionConditionsRow(
                    division=division,
                    air_celsius=number_or_none(air.get(division), f"The air of {division}"),
                    wind_mm=number_or_none(wind.get(division), f"The wind of {division}"),
                )
                for division in dict.fromkeys([*air, *wind])
            ],
        )


def _open_visit_of(session: Session, organ_id: int) -> VisitRow | None:
    query = select(VisitRow).where(VisitRow.organ_id == organ_id, VisitRow.closed_at.is_(None))
    return session.scalar(query)


def _visit_of(row: VisitRow) -> KeptVisit:
    return KeptVisit(
        id=row.id,
        organ_id=row.organ_id,
        purpose=row.purpose,
        minutes=row.minutes,
        opened_at=row.opened_at,
        closed_at=row.closed_at,
        conditions=tuple(_conditions_of(noted) for noted in row.conditions),
        closing_note=row.closing_note,
        organ_version=row.description.version,
        notes=tuple(
            KeptNote(id=note.id, visit_id=row.id, words=note.words, noted_at=note.noted_at)
            for note in row.notes
        ),
    )


def _conditions_of(row: ConditionsRow) -> Conditions:
    air = {d.division: d.air_celsius for d in row.divisions if d.air_celsius is not None}
    wind = {d.division: d.wind_mm for d in row.divisions if d.wind_mm is not None}
    return Conditions(
        air_celsius=MappingProxyType(air),
        humidity=row.humidity,
        wind_mm=MappingProxyType(wind),
        noted_at=row.noted_at,
    )
