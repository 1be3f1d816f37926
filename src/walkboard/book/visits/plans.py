"""Plans of visits, and the state of their worklists."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from walkboard.book.models import (
    HearingRow,
    PlanCurveRow,
    PlanItemRow,
    PlanReferenceRow,
    PlanRow,
    RecordingRow,
    VisitRow,
)
from walkboard.book.records import HearingChange, KeptPlan, WorklistLine
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.values import number, number_or_none
from walkboard.book.visits.ticks import counting_ticks
from walkboard.organ.model import PipeRef
from walkboard.planning.plan import CurvePoint, Plan, PlanItem, Reference


class Plans(Storing):
    """Plans; a new one replaces the last."""

    def keep_plan(
        self,
        visit_id: int,
        plan: Plan,
        *,
        event_air_celsius: float | None = None,
        organ_version: int | None = None,
        purpose: str | None = None,
    ) -> KeptPlan:
        """Store a plan for a visit, replacing the last one.

        Parameters
        ----------
        visit_id : int
        plan : Plan
        event_air_celsius : float or None
            The air it was made for [°C].
        organ_version : int or None
            Version of the description it was made with.
        purpose : str or None
            What the organ mostly does, as it was made for.

        Raises
        ------
        BookError
            When there is no such visit, or it is closed.
        """
        with self._writing() as session:
            self._visit_at_work(session, visit_id)
            last = _rows(session, visit_id)[-1:]
            row = PlanRow(
                visit_id=visit_id,
                supersedes_id=last[0].id if last else None,
                made_at=self._now(),
                event_air_celsius=number_or_none(event_air_celsius, "The air of the event"),
                organ_version=organ_version,
                purpose=purpose,
            )
            _fill(row, plan)
            session.add(row)
            session.flush()
            return _kept_of(row, None, ())

    def plans(self, visit_id: int) -> tuple[KeptPlan, ...]:
        """Every plan of a visit, oldest first."""
        with self._reading() as session:
            self._get(session, VisitRow, visit_id, "visit")
            rows = _rows(session, visit_id)
            newer = {row.supersedes_id: row.id for row in rows}
            changes = _changes(session, visit_id)
            return tuple(_kept_of(row, newer.get(row.id), changes) for row in rows)

    def current_plan(self, visit_id: int) -> KeptPlan | None:
        """The newest plan of a visit, or None.

        While the visit is open, a plan no longer counts once a recording was relabelled or
        withdrawn after it was made: it may be based on wrong readings. The plan of a closed visit
        is the one used, and stays.
        """
        with self._reading() as session:
            visit = self._get(session, VisitRow, visit_id, "visit")
            row = _rows(session, visit_id)[-1:]
            if not row:
                return None
            found = _kept_of(row[0], None, _changes(session, visit_id))
            is_outdated = visit.closed_at is None and found.outdated_at is not None
            return None if is_outdated else found

    def last_purpose(self, organ_id: int) -> str | None:
        """What the newest plan of an organ was made for, of any visit; None if no plan says."""
        with self._reading() as session:
            query = (
                select(PlanRow.purpose)
                .join(VisitRow, PlanRow.visit_id == VisitRow.id)
                .where(VisitRow.organ_id == organ_id, PlanRow.purpose.is_not(None))
                .order_by(PlanRow.made_at.desc(), PlanRow.id.desc())
                .limit(1)
            )
            return session.scalars(query).first()

    def worklist(self, visit_id: int) -> tuple[WorklistLine, ...]:
        """The current plan's items in the order of work, each with the tick that counts.

        Raises
        ------
        BookError
            When there is no such visit, or it has no plan that counts.
        """
        with self._reading() as session:
            visit = self._get(session, VisitRow, visit_id, "visit")
            rows = _rows(session, visit_id)
            if not rows:
                raise self._error(f"Visit {visit_id} has no plan yet.", "Plan it first.")
            outdated = _kept_of(rows[-1], None, _changes(session, visit_id)).outdated_at
            if visit.closed_at is None and outdated is not None:
                raise self._error(
                    f"A recording of visit {visit_id} was relabelled or withdrawn after the"
                    " visit was planned.",
                    "Plan it again.",
                )
            ticks = {tick.pipe: tick for tick, _ in counting_ticks(session, visit_id)}
            items = _plan_of(rows[-1]).items
            return tuple(WorklistLine(item=item, tick=ticks.get(item.pipe)) for item in items)


def _rows(session: Session, visit_id: int) -> list[PlanRow]:
    query = select(PlanRow).where(PlanRow.visit_id == visit_id).order_by(PlanRow.fact_uid)
    return list(session.scalars(query))


def _fill(row: PlanRow, plan: Plan) -> None:
    row.minutes = number(plan.minutes, "The plan's minutes")
    row.cost_before = number(plan.cost_before, "The plan's cost before")
    row.cost_after = number(plan.cost_after, "The plan's cost after")
    row.cost_bound = number(plan.cost_bound, "The plan's bound")
    row.minutes_used = number(plan.minutes_used, "The minutes that the plan uses")
    row.walk_minutes = number(plan.walk_minutes, "The minutes of the plan's walks")
    row.walk_bound_minutes = number(plan.walk_bound_minutes, "The bound of the plan's walks")
    row.notes = tuple(plan.notes)
    row.references = [
        PlanReferenceRow(
            position=position,
            division=reference.division,
            shift_cents=number(reference.shift_cents, f"The shift of {reference.division}"),
            air_celsius=number(reference.air_celsius, f"The air of {reference.division}"),
            event_celsius=number_or_none(
                reference.event_celsius, f"The event's air of {reference.division}"
            ),
        )
        for position, reference in enumerate(plan.reference)
    ]
    row.items = [
        PlanItemRow(
            position=position,
            order=int(item.order),
            rank=item.pipe.rank,
            number=int(item.pipe.number),
            cents=number(item.cents, f"The deviation of {item.pipe}"),
            target_hz=number(item.target_hz, f"The target of {item.pipe}"),
            move=item.move,
            minutes=number(item.minutes, f"The minutes of {item.pipe}"),
            why=item.why,
            gain=number(item.gain, f"What {item.pipe} gains"),
        )
        for position, item in enumerate(plan.items)
    ]
    row.curve = [
        PlanCurveRow(
            position=position,
            minutes=number(point.minutes, "The minutes of the curve"),
            cost=number(point.cost, "The cost of the curve"),
        )
        for position, point in enumerate(plan.curve)
    ]


def _changes(session: Session, visit_id: int) -> tuple[datetime, ...]:
    """When recordings of a visit were relabelled or withdrawn, oldest first."""
    query = (
        select(HearingRow.heard_at)
        .join(RecordingRow, HearingRow.recording_id == RecordingRow.id)
        .where(RecordingRow.visit_id == visit_id, HearingRow.change != HearingChange.NONE)
        .order_by(HearingRow.fact_uid)
    )
    return tuple(session.scalars(query))


def _kept_of(row: PlanRow, superseded_by: int | None, changes: tuple[datetime, ...]) -> KeptPlan:
    outdated_at = next((at for at in changes if at > row.made_at), None)
    return KeptPlan(
        id=row.id,
        visit_id=row.visit_id,
        plan=_plan_of(row),
        event_air_celsius=row.event_air_celsius,
        organ_version=row.organ_version,
        purpose=row.purpose,
        made_at=row.made_at,
        superseded_by=superseded_by,
        outdated_at=outdated_at,
    )


def _plan_of(row: PlanRow) -> Plan:
    return Plan(
        minutes=row.minutes,
        reference=tuple(
            Reference(r.division, r.shift_cents, r.air_celsius, r.event_celsius)
            for r in row.references
        ),
        items=tuple(
            PlanItem(
                order=item.order,
                pipe=PipeRef(item.rank, item.number),
                cents=item.cents,
                target_hz=item.target_hz,
                move=item.move,
                minutes=item.minutes,
                why=item.why,
                gain=item.gain,
            )
            for item in row.items
        ),
        cost_before=row.cost_before,
        cost_after=row.cost_after,
        cost_bound=row.cost_bound,
        minutes_used=row.minutes_used,
        curve=tuple(CurvePoint(point.minutes, point.cost) for point in row.curve),
        walk_minutes=row.walk_minutes,
        walk_bound_minutes=row.walk_bound_minutes,
        notes=row.notes,
    )
