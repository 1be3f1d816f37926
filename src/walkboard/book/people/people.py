"""People: who they are, and their roles for one organ or for all."""

from __future__ import annotations

import uuid

from sqlalchemy import select
from sqlalchemy.orm import selectinload

from walkboard.book.models.people import MembershipRow, PersonRow
from walkboard.book.people.records import Membership, Person, PersonRole
from walkboard.book.rows.storing import Storing

LONGEST_PERSON_NAME = 60


class People(Storing):
    """The people of the book. Nobody is removed: facts name who recorded them."""

    def add_person(self, name: str) -> Person:
        """Add a person without a role.

        Raises
        ------
        BookError
            If the name is empty or too long, or somebody has it already.
        """
        plain = " ".join(name.split())
        if not plain or len(plain) > LONGEST_PERSON_NAME:
            raise self._error(
                f"A person needs a name of 1 to {LONGEST_PERSON_NAME} letters.",
                "Write it as it should appear in the history.",
            )
        with self._writing() as session:
            if session.scalar(select(PersonRow.id).where(PersonRow.name == plain)) is not None:
                raise self._error(
                    f"There is already a person named {plain!r} in this book.",
                    "Give another name, such as one with an initial.",
                )
            row = PersonRow(uid=str(uuid.uuid4()), name=plain, added_at=self._now())
            session.add(row)
            session.flush()
            return _person_of(row)

    def keep_membership(
        self, person_id: int, role: PersonRole | None, organ_id: int | None
    ) -> Person:
        """Give a person a role for an organ, or for all with None; it replaces the last one there.

        Parameters
        ----------
        person_id : int
        role : PersonRole or None
            None: no role there any more.
        organ_id : int or None

        Raises
        ------
        BookError
            If there is no such person or organ.
        """
        with self._writing() as session:
            row = self._get(session, PersonRow, person_id, "person")
            if organ_id is not None:
                self._newest_description(session, organ_id)
            row.memberships.append(
                MembershipRow(
                    organ_id=organ_id,
                    role="" if role is None else PersonRole(role).value,
                    kept_at=self._now(),
                )
            )
            session.flush()
            return _person_of(row)

    def people(self) -> tuple[Person, ...]:
        """Everyone, also those without a role any more, by name."""
        query = select(PersonRow).options(selectinload(PersonRow.memberships))
        with self._reading() as session:
            rows = session.scalars(query.order_by(PersonRow.name, PersonRow.id))
            return tuple(_person_of(row) for row in rows)

    def person(self, person_id: int) -> Person:
        """One of them; BookError if there is no such person."""
        with self._reading() as session:
            return _person_of(self._get(session, PersonRow, person_id, "person"))


def _person_of(row: PersonRow) -> Person:
    newest = {one.organ_id: one.role for one in row.memberships}
    memberships = (Membership(PersonRole(role), organ) for organ, role in newest.items() if role)
    in_order = sorted(memberships, key=lambda one: one.organ_id or 0)
    return Person(row.id, row.uid, row.name, tuple(in_order), row.added_at)
