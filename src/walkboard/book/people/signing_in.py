"""What people sign in with: passkeys, recovery codes, invitations, sessions. Hashes, no secrets.

Unlike the records of the book these rows are edited and removed: what is over is gone.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Select, delete, select
from sqlalchemy.orm import Session as DatabaseSession

from walkboard.book.models.people import (
    InvitationRow,
    OpenIdRow,
    PasskeyRow,
    PersonRow,
    RecoveryRow,
    SessionRow,
)
from walkboard.book.people.records import Passkey, Session
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.values import instant


class SigningIn(Storing):
    """What people sign in with."""

    def add_passkey(self, person_id: int, credential: str, public_key: str, uses: int) -> Passkey:
        """Store a passkey; BookError if it is somebody's already."""
        with self._writing() as session:
            self._get(session, PersonRow, person_id, "person")
            query = select(PasskeyRow.id).where(PasskeyRow.credential == credential)
            if session.scalar(query) is not None:
                raise self._error("This passkey is in the book already.", "Use another device.")
            count = len(_passkeys(session, person_id))
            row = PasskeyRow(
                person_id=person_id,
                credential=credential,
                public_key=public_key,
                uses=uses,
                name=str(count + 1),
                added_at=self._now(),
            )
            session.add(row)
            session.flush()
            return _passkey_of(row)

    def passkeys(self, person_id: int) -> tuple[Passkey, ...]:
        """Those of a person, oldest first."""
        with self._reading() as session:
            return tuple(map(_passkey_of, _passkeys(session, person_id)))

    def passkey_of(self, credential: str) -> Passkey | None:
        """The passkey of a credential's id."""
        query = select(PasskeyRow).where(PasskeyRow.credential == credential)
        with self._reading() as session:
            row = session.scalar(query)
            return None if row is None else _passkey_of(row)

    def count_use(self, passkey_id: int, uses: int) -> None:
        """Note the signature counter that came with a use."""
        with self._writing() as session:
            self._get(session, PasskeyRow, passkey_id, "passkey").uses = uses

    def remove_passkey(self, person_id: int, passkey_id: int) -> bool:
        """Remove a person's passkey; False if it is not theirs."""
        return self._remove_own(PasskeyRow, person_id, passkey_id)

    def keep_recovery(self, person_id: int, finder: str, hashed: str) -> None:
        """Store a person's recovery code in place of the last one."""
        with self._writing() as session:
            self._get(session, PersonRow, person_id, "person")
            session.execute(delete(RecoveryRow).where(RecoveryRow.person_id == person_id))
            row = RecoveryRow(person_id=person_id, finder=finder, hash=hashed, made_at=self._now())
            session.add(row)

    def recovery(self, finder: str) -> tuple[int, str] | None:
        """The person and the hash that a code's finder leads to."""
        query = select(RecoveryRow).where(RecoveryRow.finder == finder)
        with self._reading() as session:
            row = session.scalar(query)
            return None if row is None else (row.person_id, row.hash)

    def has_recovery(self, person_id: int) -> bool:
        """Whether a person has a recovery code."""
        with self._reading() as session:
            return session.get(RecoveryRow, person_id) is not None

    def use_recovery(self, finder: str) -> bool:
        """Use a recovery code up; False if it was used meanwhile."""
        query = select(RecoveryRow).where(RecoveryRow.finder == finder)
        with self._writing() as session:
            row = session.scalar(query)
            if row is not None:
                session.delete(row)
            return row is not None

    def keep_invitation(self, person_id: int, hashed: str, ends_at: datetime) -> None:
        """Store a person's invitation in place of the last one."""
        with self._writing() as session:
            self._get(session, PersonRow, person_id, "person")
            session.execute(delete(InvitationRow).where(InvitationRow.person_id == person_id))
            row = InvitationRow(
                person_id=person_id, hash=hashed, ends_at=instant(ends_at, "The end")
            )
            session.add(row)

    def invited(self, hashed: str) -> int | None:
        """The id of the person whose invitation has this hash, while it lasts."""
        with self._reading() as session:
            row = self._invitation(session, hashed)
            return None if row is None else row.person_id

    def use_invitation(self, hashed: str) -> int | None:
        """Use an invitation up: the id of its person; None if it is over, or was used."""
        with self._writing() as session:
            row = self._invitation(session, hashed)
            if row is None:
                return None
            person_id = row.person_id
            session.delete(row)
            return person_id

    def _invitation(self, session: DatabaseSession, hashed: str) -> InvitationRow | None:
        row = session.scalar(select(InvitationRow).where(InvitationRow.hash == hashed))
        return None if row is None or row.ends_at <= self._now() else row

    def begin_session(
        self, person_id: int, hashed: str, browser: str, ends_at: datetime
    ) -> Session:
        """Store a session; those that are over are removed."""
        now = self._now()
        with self._writing() as session:
            self._get(session, PersonRow, person_id, "person")
            session.execute(delete(SessionRow).where(SessionRow.ends_at <= now))
            row = SessionRow(
                person_id=person_id,
                hash=hashed,
                browser=browser,
                began_at=now,
                ends_at=instant(ends_at, "The end"),
            )
            session.add(row)
            session.flush()
            return _session_of(row)

    def session(self, hashed: str) -> Session | None:
        """The session whose token has this hash, also one that is over."""
        with self._reading() as session:
            row = session.scalar(select(SessionRow).where(SessionRow.hash == hashed))
            return None if row is None else _session_of(row)

    def sessions(self, person_id: int) -> tuple[Session, ...]:
        """Those of a person, newest first."""
        query = select(SessionRow).where(SessionRow.person_id == person_id)
        with self._reading() as session:
            return tuple(map(_session_of, session.scalars(query.order_by(SessionRow.id.desc()))))

    def end_session(self, person_id: int, session_id: int) -> bool:
        """End a person's session; False if it is not theirs."""
        return self._remove_own(SessionRow, person_id, session_id)

    def _remove_own(
        self, kind: type[PasskeyRow] | type[SessionRow], person_id: int, row_id: int
    ) -> bool:
        query = select(kind).where(kind.id == row_id, kind.person_id == person_id)
        with self._writing() as session:
            row = session.scalar(query)
            if row is not None:
                session.delete(row)
            return row is not None

    def link_openid(self, person_id: int, issuer: str, subject: str) -> None:
        """Note whom an identity provider takes a person for; BookError if it is somebody else."""
        with self._writing() as session:
            self._get(session, PersonRow, person_id, "person")
            known = session.scalar(_openid(issuer, subject))
            if known is not None and known.person_id != person_id:
                raise self._error(
                    "Somebody else signs in as this account already.", "Use your own account."
                )
            session.execute(delete(OpenIdRow).where(OpenIdRow.person_id == person_id))
            row = OpenIdRow(
                person_id=person_id, issuer=issuer, subject=subject, linked_at=self._now()
            )
            session.add(row)

    def person_of_openid(self, issuer: str, subject: str) -> int | None:
        """The id of the person whom an identity provider means."""
        with self._reading() as session:
            row = session.scalar(_openid(issuer, subject))
            return None if row is None else row.person_id

    def forget_sign_in(self, person_id: int) -> None:
        """Remove all that a person signs in with, and end their sessions."""
        with self._writing() as session:
            for table in (PasskeyRow, RecoveryRow, InvitationRow, OpenIdRow, SessionRow):
                session.execute(delete(table).where(table.person_id == person_id))


def _openid(issuer: str, subject: str) -> Select[OpenIdRow]:
    return select(OpenIdRow).where(OpenIdRow.issuer == issuer, OpenIdRow.subject == subject)


def _passkeys(session: DatabaseSession, person_id: int) -> list[PasskeyRow]:
    query = select(PasskeyRow).where(PasskeyRow.person_id == person_id)
    return list(session.scalars(query.order_by(PasskeyRow.id)))


def _passkey_of(row: PasskeyRow) -> Passkey:
    return Passkey(
        row.id, row.person_id, row.credential, row.public_key, row.uses, row.name, row.added_at
    )


def _session_of(row: SessionRow) -> Session:
    return Session(row.id, row.person_id, row.browser, row.began_at, row.ends_at)
