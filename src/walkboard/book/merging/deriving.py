"""Sets the columns that only repeat what the facts say, after facts were appended.

What they are set to depends on the facts alone, so two copies with the same facts agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sqlalchemy import Connection, select, update
from sqlalchemy.orm import Session

from walkboard.book.merging.planning import numbers
from walkboard.book.models import (
    DescriptionRow,
    HearingRow,
    HoldRow,
    PlanRow,
    ReadingRow,
    VisitClosingRow,
    VisitRow,
)
from walkboard.book.recordings.recordings import WHOLE_WALK
from walkboard.book.rows.superseding import supersede_readings


def close_visits(here: Connection, organ_id: int) -> None:
    """Let each visit's row repeat its newest closing."""
    query = (
        select(VisitClosingRow.visit_id, VisitClosingRow.closed_at, VisitClosingRow.note)
        .join(VisitRow, VisitClosingRow.visit_id == VisitRow.id)
        .where(VisitRow.organ_id == organ_id)
        .order_by(VisitClosingRow.fact_uid)
    )
    newest = {visit: (at, note) for visit, at, note in here.execute(query)}
    visits = select(VisitRow.id, VisitRow.closed_at, VisitRow.closing_note)
    for visit, *now in here.execute(visits.where(VisitRow.organ_id == organ_id)).all():
        if visit in newest and newest[visit] != tuple(now):
            at, note = newest[visit]
            here.execute(
                update(VisitRow).where(VisitRow.id == visit).values(closed_at=at, closing_note=note)
            )


def number_descriptions(here: Connection, organ_id: int) -> dict[str, int]:
    """Number an organ's descriptions in their order; plans that name one by number follow.

    Returns
    -------
    dict of str to int
        The number of each description by its uid.
    """
    table, plan = DescriptionRow.__table__, PlanRow.__table__
    query = select(table.c.fact_uid, table.c.version, table.c.arrived_at)
    was = {
        row.fact_uid: row.version for row in here.execute(query.where(table.c.organ_id == organ_id))
    }
    wanted = numbers(was)
    changed = {was[uid]: number for uid, number in wanted.items() if was[uid] != number}
    of_organ = select(VisitRow.id).where(VisitRow.organ_id == organ_id)
    for old, new in changed.items():  # first to where no number is taken
        here.execute(
            update(DescriptionRow)
            .where(table.c.organ_id == organ_id, table.c.version == old)
            .values(version=-new)
        )
        here.execute(
            update(PlanRow)
            .where(plan.c.visit_id.in_(of_organ), plan.c.organ_version == old)
            .values(organ_version=-new)
        )
    if changed:
        here.execute(
            update(DescriptionRow)
            .where(table.c.organ_id == organ_id, table.c.version < 0)
            .values(version=-table.c.version)
        )
        here.execute(
            update(PlanRow)
            .where(plan.c.visit_id.in_(of_organ), plan.c.organ_version < 0)
            .values(organ_version=-plan.c.organ_version)
        )
    return wanted


def versions_of_plans(
    there: Connection, here: Connection, plans: Mapping[int, int], here_numbers: Mapping[str, int]
) -> None:
    """Let new plans name the description they were made with by its number here.

    Parameters
    ----------
    there, here : Connection
    plans : mapping of int to int
        The id here of each new plan, by its id there.
    here_numbers : mapping of str to int
        The number here of each description, by its uid.
    """
    query = (
        select(PlanRow.id, DescriptionRow.fact_uid)
        .join(VisitRow, PlanRow.visit_id == VisitRow.id)
        .join(
            DescriptionRow,
            (DescriptionRow.organ_id == VisitRow.organ_id)
            & (DescriptionRow.version == PlanRow.organ_version),
        )
    )
    for plan, uid in there.execute(query.where(PlanRow.organ_version.is_not(None))).all():
        if plan in plans:
            here.execute(
                update(PlanRow)
                .where(PlanRow.id == plans[plan])
                .values(organ_version=here_numbers[uid])
            )


def link_readings(session: Session, hearings: Iterable[int]) -> None:
    """Link the readings of hearings again to those that they replace in the hearing before."""
    changed = sorted(hearings)
    for id_ in changed:
        holds = select(HoldRow.id).where(HoldRow.hearing_id == id_)
        session.execute(
            update(ReadingRow)
            .where(ReadingRow.hold_id.in_(holds), ReadingRow.supersedes_id.is_not(None))
            .values(supersedes_id=None)
        )
    for id_ in changed:
        new = session.get(HearingRow, id_, options=WHOLE_WALK)
        if new is not None and new.supersedes_id is not None:
            old = session.get(HearingRow, new.supersedes_id, options=WHOLE_WALK)
            if old is not None:
                supersede_readings(old.holds, new.holds)
                session.flush()
        session.expire_all()
