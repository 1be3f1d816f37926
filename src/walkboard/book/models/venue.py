"""Tables for the venue: next visits, contacts, repairs, photographs, air."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column, relationship

from walkboard.book.models.base import Base
from walkboard.book.models.columns import Numbers
from walkboard.book.models.facts import Fact, Version
from walkboard.book.models.faults import FaultRow
from walkboard.book.models.recordings import SoundRow


class NextVisitRow(Version, Base):
    """When the tuner comes next, and why then; the newest row of an organ counts."""

    __tablename__ = "next_visit"
    SAME = ("organ_id",)
    id: Mapped[int] = mapped_column(primary_key=True)
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"), index=True)
    arrives_at: Mapped[datetime | None]
    hours: Mapped[float | None]
    reason: Mapped[str]
    kept_at: Mapped[datetime]


class ContactRow(Version, Base):
    """A contact; the newest row of an organ's role counts, one without a name removes it."""

    __tablename__ = "contact"
    SAME = ("organ_id", "role")
    id: Mapped[int] = mapped_column(primary_key=True)
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"), index=True)
    role: Mapped[str]
    name: Mapped[str]
    reach: Mapped[str]
    kept_at: Mapped[datetime]


class FaultCareRow(Version, Base):
    """Who fixes a fault, with what, and how to play until then; the newest row counts."""

    __tablename__ = "fault_care"
    SAME = ("fault_id",)
    id: Mapped[int] = mapped_column(primary_key=True)
    fault_id: Mapped[int] = mapped_column(ForeignKey("fault.id"), index=True)
    who: Mapped[str]
    parts: Mapped[str]
    meanwhile: Mapped[str]
    kept_at: Mapped[datetime]
    fault: Mapped[FaultRow] = relationship()


class PhotographRow(Fact, Base):
    """A photograph; its file is with the recordings, named by its content's hash."""

    __tablename__ = "photograph"
    id: Mapped[int] = mapped_column(primary_key=True)
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"), index=True)
    visit_id: Mapped[int | None] = mapped_column(ForeignKey("visit.id"))
    fault_id: Mapped[int | None] = mapped_column(ForeignKey("fault.id"))
    sha256: Mapped[str] = mapped_column(ForeignKey("sound.sha256"))
    file_name: Mapped[str]
    shows: Mapped[str]
    rights: Mapped[str]
    kept_at: Mapped[datetime]
    content: Mapped[SoundRow] = relationship()


class AirLogRow(Version, Base):
    """One logger's readings at one place; minutes count from its first reading."""

    __tablename__ = "air_log"
    WITHIN = "organ_id"
    id: Mapped[int] = mapped_column(primary_key=True)
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"), index=True)
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("air_log.id"), unique=True)
    place: Mapped[str]
    file_name: Mapped[str]
    starts_at: Mapped[datetime]
    minutes: Mapped[tuple[float, ...]] = mapped_column(Numbers)
    celsius: Mapped[tuple[float, ...]] = mapped_column(Numbers)
    humidity: Mapped[tuple[float, ...]] = mapped_column(Numbers)
    kept_at: Mapped[datetime]
