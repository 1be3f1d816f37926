"""For the venue: the next visit, contacts, and who fixes which fault."""

from __future__ import annotations

from sqlalchemy import select

from walkboard.book.models import ContactRow, FaultCareRow, FaultRow, NextVisitRow
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.values import instant, number_or_none
from walkboard.book.venue.records import Contact, FaultCare, NextVisit, Role
from walkboard.errors import BookError


class Venue(Storing):
    """Information between the tuner and the venue. The newest row counts; all are kept."""

    def keep_next_visit(self, organ_id: int, visit: NextVisit) -> None:
        """Store when the tuner comes next.

        Raises
        ------
        BookError
            If there is no such organ, or the hours are not positive.
        """
        hours = number_or_none(visit.hours, "The hours of a visit")
        if hours is not None and hours <= 0.0:
            raise BookError(f"A visit of {hours:g} hours is too short.", fix="Give its hours.")
        with self._writing() as session:
            self._newest_description(session, organ_id)
            arrives = visit.arrives_at
            session.add(
                NextVisitRow(
                    organ_id=organ_id,
                    arrives_at=None if arrives is None else instant(arrives, "The arrival"),
                    hours=hours,
                    reason=visit.reason,
                    kept_at=self._now(),
                )
            )

    def next_visit(self, organ_id: int) -> NextVisit | None:
        """When the tuner comes next; None if never stated."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = select(NextVisitRow).where(NextVisitRow.organ_id == organ_id)
            row = session.scalar(query.order_by(NextVisitRow.fact_uid.desc()).limit(1))
            return None if row is None else NextVisit(row.arrives_at, row.hours, row.reason)

    def keep_contact(self, organ_id: int, contact: Contact) -> None:
        """Store a contact; one without a name removes the role's contact.

        Raises
        ------
        BookError
            If there is no such organ.
        """
        with self._writing() as session:
            self._newest_description(session, organ_id)
            session.add(
                ContactRow(
                    organ_id=organ_id,
                    role=Role(contact.role).value,
                    name=contact.name.strip(),
                    reach=contact.reach.strip(),
                    kept_at=self._now(),
                )
            )

    def contacts(self, organ_id: int) -> tuple[Contact, ...]:
        """The contacts, one for each role that has one, in the order of `Role`."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = select(ContactRow).where(ContactRow.organ_id == organ_id)
            newest = {
                Role(row.role): Contact(Role(row.role), row.name, row.reach)
                for row in session.scalars(query.order_by(ContactRow.fact_uid))
            }
        return tuple(newest[role] for role in Role if role in newest and newest[role].name)

    def keep_fault_care(self, care: FaultCare) -> None:
        """Store who fixes a fault, with what, and how to play until then.

        Raises
        ------
        BookError
            If there is no such fault.
        """
        with self._writing() as session:
            self._get(session, FaultRow, care.fault_id, "fault")
            session.add(
                FaultCareRow(
                    fault_id=care.fault_id,
                    who=care.who.strip(),
                    parts=care.parts.strip(),
                    meanwhile=care.meanwhile.strip(),
                    kept_at=self._now(),
                )
            )

    def fault_cares(self, organ_id: int) -> dict[int, FaultCare]:
        """The repairs of an organ's faults, by the fault's id."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = select(FaultCareRow).join(FaultCareRow.fault)
            query = query.where(FaultRow.organ_id == organ_id).order_by(FaultCareRow.fact_uid)
            return {
                row.fault_id: FaultCare(row.fault_id, row.who, row.parts, row.meanwhile)
                for row in session.scalars(query)
            }
