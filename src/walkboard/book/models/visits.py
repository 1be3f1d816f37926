"""Tables of organs, visits, and what was noted there."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from walkboard.book.models.base import Base, only_where
from walkboard.book.models.facts import Fact, Version

_OPEN_HERE = only_where("closed_at IS NULL AND arrived_at IS NULL")


class OrganRow(Fact, Base):
    """An organ: what its versions have in common."""

    __tablename__ = "organ"
    id: Mapped[int] = mapped_column(primary_key=True)
    added_at: Mapped[datetime]


class DescriptionRow(Version, Base):
    """One version of an organ's description; a merge numbers all of an organ's in their order."""

    __tablename__ = "description"
    SAME = ("organ_id",)
    __table_args__ = (UniqueConstraint("organ_id", "version"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"))
    version: Mapped[int]
    name: Mapped[str]
    toml: Mapped[str]
    added_at: Mapped[datetime]


class VisitRow(Fact, Base):
    """A visit; `closed_at` and `closing_note` repeat the newest of its closings."""

    __tablename__ = "visit"
    __table_args__ = (
        Index("uq_visit_open", "organ_id", unique=True, **_OPEN_HERE),
        Index("ix_visit_organ_id", "organ_id"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"))
    description_id: Mapped[int] = mapped_column(ForeignKey("description.id"))
    purpose: Mapped[str]
    minutes: Mapped[float | None]
    opened_at: Mapped[datetime]
    closed_at: Mapped[datetime | None]
    closing_note: Mapped[str]
    description: Mapped[DescriptionRow] = relationship()
    conditions: Mapped[list[ConditionsRow]] = relationship(order_by="ConditionsRow.fact_uid")
    notes: Mapped[list[NoteRow]] = relationship(order_by="NoteRow.fact_uid")
    corrections: Mapped[list[VisitCorrectionRow]] = relationship(
        order_by="VisitCorrectionRow.fact_uid"
    )
    closings: Mapped[list[VisitClosingRow]] = relationship(order_by="VisitClosingRow.fact_uid")


class VisitClosingRow(Version, Base):
    """That a visit was closed; two copies of the book may each close it."""

    __tablename__ = "visit_closing"
    SAME = ("visit_id",)
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"), index=True)
    closed_at: Mapped[datetime]
    note: Mapped[str]


class VisitCorrectionRow(Version, Base):
    """A correction of a visit's purpose and minutes; the newest counts."""

    __tablename__ = "visit_correction"
    SAME = ("visit_id",)
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"), index=True)
    purpose: Mapped[str]
    minutes: Mapped[float | None]
    words: Mapped[str]
    corrected_at: Mapped[datetime]


class ConditionsRow(Version, Base):
    """One entry of the conditions, perhaps a correction of an earlier one."""

    __tablename__ = "conditions"
    __table_args__ = (Index("uq_conditions_supersedes_id", "supersedes_id", unique=True),)
    WITHIN = "visit_id"
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"), index=True)
    noted_at: Mapped[datetime]
    humidity: Mapped[float | None]
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("conditions.id"))
    divisions: Mapped[list[DivisionConditionsRow]] = relationship(
        order_by="DivisionConditionsRow.id"
    )


class DivisionConditionsRow(Base):
    """Air and wind at one division."""

    __tablename__ = "division_conditions"
    __table_args__ = (UniqueConstraint("conditions_id", "division"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    conditions_id: Mapped[int] = mapped_column(ForeignKey("conditions.id"))
    division: Mapped[str]
    air_celsius: Mapped[float | None]
    wind_mm: Mapped[float | None]


class NoteRow(Fact, Base):
    """A note on a visit."""

    __tablename__ = "note"
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"), index=True)
    words: Mapped[str]
    noted_at: Mapped[datetime]
