"""Tables of people: their roles, which are facts, and what they sign in with, which is not.

What people sign in with is edited and removed as they come and go; it is in no export of the book.
Of every secret there is only a hash.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column, relationship

from walkboard.book.models.base import PRIVATE, Base

_PRIVATE = ({"info": PRIVATE},)


class PersonRow(Base):
    """A person; the row stays when they have left, for the facts that they recorded."""

    __tablename__ = "person"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    added_at: Mapped[datetime]
    memberships: Mapped[list[MembershipRow]] = relationship(order_by="MembershipRow.id")


class MembershipRow(Base):
    """A person's role for an organ, or for all; the newest of each counts, an empty one ends it."""

    __tablename__ = "membership"
    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    organ_id: Mapped[int | None] = mapped_column(ForeignKey("organ.id"))
    role: Mapped[str]
    kept_at: Mapped[datetime]


class PasskeyRow(Base):
    """A public key that a person signs in with."""

    __tablename__ = "passkey"
    __table_args__ = _PRIVATE
    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    credential: Mapped[str] = mapped_column(unique=True)
    public_key: Mapped[str]
    uses: Mapped[int]
    name: Mapped[str]
    added_at: Mapped[datetime]


class RecoveryRow(Base):
    """The hash of a person's recovery code, and the part of the code that finds it."""

    __tablename__ = "recovery"
    __table_args__ = _PRIVATE
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), primary_key=True)
    finder: Mapped[str] = mapped_column(unique=True)
    hash: Mapped[str]
    made_at: Mapped[datetime]


class InvitationRow(Base):
    """A link that lets a person add a passkey, once."""

    __tablename__ = "invitation"
    __table_args__ = _PRIVATE
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), primary_key=True)
    hash: Mapped[str] = mapped_column(unique=True)
    ends_at: Mapped[datetime]


class OpenIdRow(Base):
    """Whom the firm's identity provider takes a person for."""

    __tablename__ = "openid"
    __table_args__ = (Index("uq_openid_issuer", "issuer", "subject", unique=True), *_PRIVATE)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), primary_key=True)
    issuer: Mapped[str]
    subject: Mapped[str]
    linked_at: Mapped[datetime]


class SessionRow(Base):
    """A browser that a person signed in with; the token is in its cookie only."""

    __tablename__ = "session"
    __table_args__ = _PRIVATE
    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    hash: Mapped[str] = mapped_column(unique=True)
    browser: Mapped[str]
    began_at: Mapped[datetime]
    ends_at: Mapped[datetime]
