"""Tables of faults."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from walkboard.book.models.base import Base


class FaultRow(Base):
    """A fault as it was reported."""

    __tablename__ = "fault"
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str | None] = mapped_column(unique=True)
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"), index=True)
    kind: Mapped[str]
    words: Mapped[str]
    reported_at: Mapped[datetime]
    reporter: Mapped[str] = mapped_column(server_default=text("''"))
    links: Mapped[list[FaultLinkRow]] = relationship(order_by="FaultLinkRow.id")
    fix: Mapped[FaultFixRow | None] = relationship()
    ties: Mapped[list[FaultTieRow]] = relationship(foreign_keys="FaultTieRow.fault_id")


class FaultLinkRow(Base):
    """What a fault was found to belong to; the newest counts."""

    __tablename__ = "fault_link"
    id: Mapped[int] = mapped_column(primary_key=True)
    fault_id: Mapped[int] = mapped_column(ForeignKey("fault.id"), index=True)
    stop: Mapped[str | None]
    key: Mapped[str | None]
    rank: Mapped[str | None]
    number: Mapped[int | None]
    linked_at: Mapped[datetime]


class FaultFixRow(Base):
    """When and how a fault was fixed."""

    __tablename__ = "fault_mending"
    id: Mapped[int] = mapped_column(primary_key=True)
    fault_id: Mapped[int] = mapped_column(ForeignKey("fault.id"), unique=True)
    visit_id: Mapped[int | None] = mapped_column(ForeignKey("visit.id"), index=True)
    note: Mapped[str]
    mended_at: Mapped[datetime]


class FaultTieRow(Base):
    """One fault's tie to another: a double of it, or the same fault come back after a fix."""

    __tablename__ = "fault_tie"
    __table_args__ = (
        UniqueConstraint("fault_id", "kind"),
        CheckConstraint("kind IN ('double of', 'again')", name="kind"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    fault_id: Mapped[int] = mapped_column(ForeignKey("fault.id"))
    kind: Mapped[str]
    other_id: Mapped[int] = mapped_column(ForeignKey("fault.id"))
    tied_at: Mapped[datetime]
