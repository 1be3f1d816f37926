"""Who recorded what: the people behind the facts of a visit and of a fault."""

from __future__ import annotations

from typing import Any

from sqlalchemy import func, literal, select, true, union_all

from walkboard.book.models import (
    ConditionsRow,
    FaultFixRow,
    FaultLinkRow,
    FaultRow,
    FaultTieRow,
    NoteRow,
    PersonRow,
    PlanRow,
    RecordingRow,
    TickRow,
    VisitClosingRow,
    VisitCorrectionRow,
    VisitRow,
)
from walkboard.book.people.records import Recorded
from walkboard.book.rows.storing import Storing

# A kind of fact: its row, its time, and what it belongs to.
_OF_VISIT: dict[str, tuple[Any, Any, Any]] = {
    "opened": (VisitRow, VisitRow.opened_at, VisitRow.id),
    "corrected": (VisitCorrectionRow, VisitCorrectionRow.corrected_at, VisitCorrectionRow.visit_id),
    "conditions": (ConditionsRow, ConditionsRow.noted_at, ConditionsRow.visit_id),
    "recording": (RecordingRow, RecordingRow.kept_at, RecordingRow.visit_id),
    "plan": (PlanRow, PlanRow.made_at, PlanRow.visit_id),
    "tick": (TickRow, TickRow.received_at, TickRow.visit_id),
    "note": (NoteRow, NoteRow.noted_at, NoteRow.visit_id),
    "closed": (VisitClosingRow, VisitClosingRow.closed_at, VisitClosingRow.visit_id),
}
_OF_FAULT: dict[str, tuple[Any, Any, Any]] = {
    "reported": (FaultRow, FaultRow.reported_at, FaultRow.id),
    "placed": (FaultLinkRow, FaultLinkRow.linked_at, FaultLinkRow.fault_id),
    "fixed": (FaultFixRow, FaultFixRow.mended_at, FaultFixRow.fault_id),
    "tied": (FaultTieRow, FaultTieRow.tied_at, FaultTieRow.fault_id),
}


_ONLY: dict[str, Any] = {
    # A report places its fault too; what was found out later is another fact.
    "placed": FaultLinkRow.linked_at
    > select(FaultRow.reported_at).where(FaultRow.id == FaultLinkRow.fault_id).scalar_subquery(),
}


class Recorders(Storing):
    """Who recorded what. Facts of a desk where nobody signs in name nobody."""

    def recorded_at_visit(self, visit_id: int) -> tuple[Recorded, ...]:
        """What people recorded at a visit, in the order of a visit."""
        return self._recorded(_OF_VISIT, visit_id)

    def recorded_of_fault(self, fault_id: int) -> tuple[Recorded, ...]:
        """What people recorded of a fault."""
        return self._recorded(_OF_FAULT, fault_id)

    def _recorded(self, kinds: dict[str, tuple[Any, Any, Any]], of: int) -> tuple[Recorded, ...]:
        each = [
            select(literal(place), PersonRow.name, func.count(), func.max(at))
            .join(row, row.person_uid == PersonRow.uid)
            .where(owner == of, _ONLY.get(kind, true()))
            .group_by(PersonRow.name)
            for place, (kind, (row, at, owner)) in enumerate(kinds.items())
        ]
        names = tuple(kinds)
        with self._reading() as session:
            rows = session.execute(union_all(*each)).all()
        return tuple(
            Recorded(names[place], *one)
            for place, *one in sorted(rows, key=lambda row: (row[0], row[1]))
        )
