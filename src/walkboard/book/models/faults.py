"""Tables of faults."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from walkboard.book.models.base import Base
from walkboard.book.models.facts import WHERE_HERE, Fact, Version


class FaultRow(Fact, Base):
    """A fault as it was reported."""

    __tablename__ = "fault"
    __table_args__ = (
        Index("uq_fault_uid", "uid", unique=True, **WHERE_HERE),
        Index("ix_fault_uid", "uid"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str | None]
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"), index=True)
    kind: Mapped[str]
    words: Mapped[str]
    reported_at: Mapped[datetime]
    reporter: Mapped[str] = mapped_column(server_default=text("''"))
    links: Mapped[list[FaultLinkRow]] = relationship(order_by="FaultLinkRow.fact_uid")
    fixes: Mapped[list[FaultFixRow]] = relationship(order_by="FaultFixRow.fact_uid")
    ties: Mapped[list[FaultTieRow]] = relationship(
        foreign_keys="FaultTieRow.fault_id", order_by="FaultTieRow.fact_uid"
    )


class FaultLinkRow(Version, Base):
    """What a fault was found to belong to; the newest counts."""

    __tablename__ = "fault_link"
    SAME = ("fault_id",)
    id: Mapped[int] = mapped_column(primary_key=True)
    fault_id: Mapped[int] = mapped_column(ForeignKey("fault.id"), index=True)
    stop: Mapped[str | None]
    key: Mapped[str | None]
    rank: Mapped[str | None]
    number: Mapped[int | None]
    linked_at: Mapped[datetime]


class FaultFixRow(Version, Base):
    """When and how a fault was fixed; two copies of the book may each fix it."""

    __tablename__ = "fault_mending"
    __table_args__ = (
        Index("uq_fault_mending_fault_id", "fault_id", unique=True, **WHERE_HERE),
        Index("ix_fault_mending_fault_id", "fault_id"),
    )
    SAME = ("fault_id",)
    id: Mapped[int] = mapped_column(primary_key=True)
    fault_id: Mapped[int] = mapped_column(ForeignKey("fault.id"))
    visit_id: Mapped[int | None] = mapped_column(ForeignKey("visit.id"), index=True)
    note: Mapped[str]
    mended_at: Mapped[datetime]


class FaultTieRow(Fact, Base):
    """One fault's tie to another: a double of it, or the same fault come back after a fix."""

    __tablename__ = "fault_tie"
    __table_args__ = (
        Index("uq_fault_tie_fault_id_kind", "fault_id", "kind", unique=True, **WHERE_HERE),
        Index("ix_fault_tie_fault_id", "fault_id"),
        CheckConstraint("kind IN ('double of', 'again')", name="kind"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    fault_id: Mapped[int] = mapped_column(ForeignKey("fault.id"))
    kind: Mapped[str]
    other_id: Mapped[int] = mapped_column(ForeignKey("fault.id"))
    tied_at: Mapped[datetime]
