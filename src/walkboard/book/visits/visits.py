"""Visits: opening, conditions and notes, corrections, closing."""

from __future__ import annotations

from types import MappingProxyType

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload, selectinload

from walkboard.book.models import (
    ConditionsRow,
    DivisionConditionsRow,
    NoteRow,
    VisitClosingRow,
    VisitCorrectionRow,
    VisitRow,
)
from walkboard.book.records import Conditions, KeptNote, KeptVisit, VisitCorrection
from walkboard.book.rows.knowing import missed_work
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.values import instant, plausible
from walkboard.plausible import AIR_CELSIUS, HUMIDITY, VISIT_MINUTES, WIND_MM

# For many visits at once: one query per kind of row, not several per visit. Outer joins: in a
# damaged book, a visit without its description must not vanish unnoticed.
_WHOLE_VISIT = (
    joinedload(VisitRow.description),
    selectinload(VisitRow.conditions).selectinload(ConditionsRow.divisions),
    selectinload(VisitRow.notes),
    selectinload(VisitRow.corrections),
)


class Visits(Storing):
    """Visits."""

    def open_visit(
        self,
        organ_id: int,
        purpose: str,
        *,
        minutes: float | None = None,
        conditions: Conditions | None = None,
    ) -> KeptVisit:
        """Open a visit to an organ, with the conditions on arrival if known.

        Parameters
        ----------
        organ_id : int
        purpose : str
            As "before the Easter services".
        minutes : float or None
            Available for tuning [min].
        conditions : Conditions or None

        Raises
        ------
        BookError
            When there is no such organ, another visit to it is still open, or a figure cannot be
            right.
        """
        with self._writing() as session:
            description = self._newest_description(session, organ_id)
            other = _open_visit_of(session, organ_id)
            if other is not None:
                raise self._error(
                    f"Visit {other.id} to {description.name} ({other.purpose}) is still open.",
                    "Continue it, or close it first.",
                )
            row = VisitRow(
                organ_id=organ_id,
                description=description,
                purpose=purpose,
                minutes=plausible(minutes, VISIT_MINUTES, "A visit"),
                opened_at=self._now(),
                closing_note="",
            )
            session.add(row)
            if conditions is not None:
                row.conditions.append(self._conditions_row(conditions))
            session.flush()
            return _visit_of(row)

    def note_conditions(self, visit_id: int, conditions: Conditions) -> KeptVisit:
        """Add conditions, as often as they are measured; the earlier ones stay.

        Raises
        ------
        BookError
            When there is no such visit, it is closed, or a figure is out of range.
        """
        with self._writing() as session:
            row = self._visit_at_work(session, visit_id)
            row.conditions.append(self._conditions_row(conditions))
            session.flush()
            return _visit_of(row)

    def correct_conditions(self, conditions_id: int, conditions: Conditions) -> KeptVisit:
        """Replace wrong conditions; the old ones stay in the book but no longer count.

        Works for closed visits too: it corrects the record, not what was done.

        Parameters
        ----------
        conditions_id : int
            Id of the current conditions (`Conditions.id`).
        conditions : Conditions
            Complete: what is left out is unknown. Without `noted_at` they keep the old time.

        Raises
        ------
        BookError
            When there are no such conditions, they were corrected already, or a figure cannot be
            right.
        """
        with self._writing() as session:
            old = self._get(session, ConditionsRow, conditions_id, "conditions")
            newer = session.scalar(
                select(ConditionsRow.id).where(ConditionsRow.supersedes_id == old.id)
            )
            if newer is not None:
                raise self._error(
                    f"Conditions {conditions_id} were already corrected, as conditions {newer}.",
                    f"Correct conditions {newer}.",
                )
            visit = self._get(session, VisitRow, old.visit_id, "visit")
            new = self._conditions_row(conditions)
            new.supersedes_id = old.id
            if conditions.noted_at is None:
                new.noted_at = old.noted_at
            visit.conditions.append(new)
            session.flush()
            return _visit_of(visit)

    def correct_visit(
        self,
        visit_id: int,
        *,
        purpose: str | None = None,
        minutes: float | None = None,
        words: str = "",
    ) -> KeptVisit:
        """Correct a visit's purpose or minutes; the original stays in the book.

        Parameters
        ----------
        visit_id : int
            Open or closed.
        purpose : str or None
            None leaves it unchanged.
        minutes : float or None
            Available for tuning [min]; None leaves them unchanged.
        words : str
            Why; may be empty.

        Raises
        ------
        BookError
            When there is no such visit, or the minutes is out of range.
        """
        minutes = plausible(minutes, VISIT_MINUTES, "A visit")
        with self._writing() as session:
            row = self._get(session, VisitRow, visit_id, "visit")
            was = _purpose_and_minutes(row)
            now = (
                was[0] if purpose is None else purpose,
                was[1] if minutes is None else minutes,
            )
            if now != was:
                row.corrections.append(
                    VisitCorrectionRow(
                        purpose=now[0], minutes=now[1], words=words, corrected_at=self._now()
                    )
                )
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
        """Close a visit for good: after that only notes can be added.

        A visit that was worked on elsewhere, by somebody who did not know that it was closed, can
        be closed again: with that work.

        If this computer's clock is now earlier than the opening, the visit is closed at the time it
        was opened, and a note says what the clock showed.

        Raises
        ------
        BookError
            If there is no such visit, or it is already closed.
        """
        with self._writing() as session:
            row = self._get(session, VisitRow, visit_id, "visit")
            if not any(missed_work(session.connection(), [visit_id])):
                row = self._visit_at_work(session, visit_id)
            now = self._now()
            closing = VisitClosingRow(closed_at=max(now, row.opened_at), note=note)
            row.closings.append(closing)
            row.closed_at, row.closing_note = closing.closed_at, closing.note
            if now < row.opened_at:
                words = (
                    f"This computer's clock showed {now:%Y-%m-%d %H:%M} UTC at closing, before the"
                    " visit was opened. The times of this visit cannot be trusted."
                )
                row.notes.append(NoteRow(words=words, noted_at=now))
            session.flush()
            return _visit_of(row)

    def visit(self, visit_id: int) -> KeptVisit:
        """One visit; BookError if there is none."""
        with self._reading() as session:
            return _visit_of(self._get(session, VisitRow, visit_id, "visit"))

    def visits(self, organ_id: int) -> tuple[KeptVisit, ...]:
        """Every visit to an organ, oldest first."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = (
                select(VisitRow)
                .where(VisitRow.organ_id == organ_id)
                .order_by(VisitRow.fact_uid)
                .options(*_WHOLE_VISIT)
            )
            return tuple(_visit_of(row) for row in session.scalars(query))

    def newest_visits(self) -> dict[int, KeptVisit]:
        """The newest visit to each organ, by the organ's id; organs without any are left out."""
        newest = select(func.max(VisitRow.fact_uid)).group_by(VisitRow.organ_id)
        with self._reading() as session:
            query = select(VisitRow).where(VisitRow.fact_uid.in_(newest)).options(*_WHOLE_VISIT)
            return {row.organ_id: _visit_of(row) for row in session.scalars(query)}

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
            humidity=plausible(conditions.humidity, HUMIDITY, "Relative humidity"),
            divisions=[
                DivisionConditionsRow(
                    division=division,
                    air_celsius=plausible(air.get(division), AIR_CELSIUS, f"The air of {division}"),
                    wind_mm=plausible(wind.get(division), WIND_MM, f"The wind of {division}"),
                )
                for division in dict.fromkeys([*air, *wind])
            ],
        )


def _open_visit_of(session: Session, organ_id: int) -> VisitRow | None:
    """The visit opened last, if two copies of the book each opened one."""
    query = select(VisitRow).where(VisitRow.organ_id == organ_id, VisitRow.closed_at.is_(None))
    return session.scalar(query.order_by(VisitRow.fact_uid.desc()).limit(1))


def _purpose_and_minutes(row: VisitRow) -> tuple[str, float | None]:
    """As last corrected."""
    last = row.corrections[-1] if row.corrections else row
    return last.purpose, last.minutes


def _corrections_of(row: VisitRow) -> tuple[VisitCorrection, ...]:
    if not row.corrections:
        return ()
    return (
        VisitCorrection(row.purpose, row.minutes, "", row.opened_at),
        *(VisitCorrection(c.purpose, c.minutes, c.words, c.corrected_at) for c in row.corrections),
    )


def _standing_conditions(rows: list[ConditionsRow]) -> list[ConditionsRow]:
    """Without the corrected ones; each correction replaces its original."""
    newest: dict[int, ConditionsRow] = {}  # by the id of the first
    first_of: dict[int, int] = {}
    for row in rows:  # by id, so that a correction follows what it corrects
        first = row.id if row.supersedes_id is None else first_of[row.supersedes_id]
        first_of[row.id] = first
        newest[first] = row
    return list(newest.values())


def _visit_of(row: VisitRow) -> KeptVisit:
    purpose, minutes = _purpose_and_minutes(row)
    return KeptVisit(
        id=row.id,
        organ_id=row.organ_id,
        purpose=purpose,
        minutes=minutes,
        opened_at=row.opened_at,
        closed_at=row.closed_at,
        conditions=tuple(_conditions_of(noted) for noted in _standing_conditions(row.conditions)),
        closing_note=row.closing_note,
        organ_version=row.description.version,
        notes=tuple(
            KeptNote(id=note.id, visit_id=row.id, words=note.words, noted_at=note.noted_at)
            for note in row.notes
        ),
        corrections=_corrections_of(row),
    )


def _conditions_of(row: ConditionsRow) -> Conditions:
    air = {d.division: d.air_celsius for d in row.divisions if d.air_celsius is not None}
    wind = {d.division: d.wind_mm for d in row.divisions if d.wind_mm is not None}
    return Conditions(
        air_celsius=MappingProxyType(air),
        humidity=row.humidity,
        wind_mm=MappingProxyType(wind),
        noted_at=row.noted_at,
        id=row.id,
    )
