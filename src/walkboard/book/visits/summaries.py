"""Counts of a visit's records without reading them: for lists of many visits."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import String, case, cast, func, select

from walkboard.book.models import (
    PlanRow,
    ReadingRow,
    RecordingRow,
    TickRow,
    VisitRow,
)
from walkboard.book.records import TickState
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.superseding import current_readings


@dataclass(frozen=True, slots=True)
class VisitSummary:
    """A visit in numbers.

    Attributes
    ----------
    pipes_read : int
        Pipes with a value that counts.
    pipes_done : int
        Pipes last ticked as done.
    has_plan : bool
        Whether a plan was ever made.
    """

    pipes_read: int = 0
    pipes_done: int = 0
    has_plan: bool = False


class Summaries(Storing):
    """Counting."""

    def visit_summaries(self, organ_id: int) -> dict[int, VisitSummary]:
        """Each visit to an organ in numbers, by its id."""
        pipe = ReadingRow.rank.concat(":").concat(cast(ReadingRow.number, String))
        read = (
            current_readings()
            .join(VisitRow, RecordingRow.visit_id == VisitRow.id)
            .where(VisitRow.organ_id == organ_id, ReadingRow.cents.is_not(None))
            .with_only_columns(RecordingRow.visit_id, func.count(pipe.distinct()))
            .group_by(RecordingRow.visit_id)
        )
        # A tick counts from when it was made, or from when it was received if that is earlier
        # (ticks.py).
        counts_at = case((TickRow.at <= TickRow.received_at, TickRow.at), else_=TickRow.received_at)
        place = func.row_number().over(
            partition_by=(TickRow.visit_id, TickRow.rank, TickRow.number),
            order_by=(counts_at.desc(), TickRow.fact_uid.desc()),
        )
        last = (
            select(TickRow.visit_id, TickRow.state, place.label("place"))
            .join(VisitRow, TickRow.visit_id == VisitRow.id)
            .where(VisitRow.organ_id == organ_id)
            .subquery()
        )
        done = (
            select(last.c.visit_id, func.count())
            .where(last.c.place == 1, last.c.state == TickState.DONE.value)
            .group_by(last.c.visit_id)
        )
        planned = (
            select(PlanRow.visit_id)
            .join(VisitRow, PlanRow.visit_id == VisitRow.id)
            .where(VisitRow.organ_id == organ_id)
        )
        with self._reading() as session:
            visits = session.scalars(select(VisitRow.id).where(VisitRow.organ_id == organ_id)).all()
            reads = {row[0]: row[1] for row in session.execute(read)}
            dones = {row[0]: row[1] for row in session.execute(done)}
            plans = set(session.scalars(planned))
            return {
                visit: VisitSummary(reads.get(visit, 0), dones.get(visit, 0), visit in plans)
                for visit in visits
            }

    def last_heard(self, organ_id: int) -> dict[str, int]:
        """The newest visit with a value of each rank, by the rank's id."""
        query = (
            current_readings()
            .join(VisitRow, RecordingRow.visit_id == VisitRow.id)
            .where(VisitRow.organ_id == organ_id, ReadingRow.cents.is_not(None))
            .with_only_columns(ReadingRow.rank, func.max(VisitRow.fact_uid))
            .group_by(ReadingRow.rank)
        )
        ids = select(VisitRow.fact_uid, VisitRow.id).where(VisitRow.organ_id == organ_id)
        with self._reading() as session:
            id_of = {row[0]: row[1] for row in session.execute(ids)}
            return {row[0]: id_of[row[1]] for row in session.execute(query)}

    def ranks_heard(self, visit_id: int) -> frozenset[str]:
        """The ranks with a reading at a visit, with or without a value."""
        query = (
            current_readings()
            .where(RecordingRow.visit_id == visit_id)
            .with_only_columns(ReadingRow.rank)
            .distinct()
        )
        with self._reading() as session:
            return frozenset(session.scalars(query))
