"""Tables of events and changed weights."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from walkboard.book.models.base import WHERE_FIRST, Base
from walkboard.book.models.facts import Version


class EventRow(Version, Base):
    """One version of a calendar event."""

    __tablename__ = "event"
    SAME = ("organ_id", "uid")
    __table_args__ = (
        Index(
            "uq_event_first",
            "organ_id",
            "uid",
            unique=True,
            **WHERE_FIRST,
        ),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"))
    uid: Mapped[str]
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("event.id"), unique=True)
    starts_at: Mapped[datetime]
    title: Mapped[str]
    stops: Mapped[tuple[str, ...]]
    air_celsius: Mapped[float | None]
    cancelled: Mapped[bool]
    kept_at: Mapped[datetime]
    uses: Mapped[str] = mapped_column(server_default=text("'[]'"))
    air_by_division: Mapped[str] = mapped_column(server_default=text("'{}'"))


class WeightChangeRow(Version, Base):
    """One version of a weight that the tuner changed."""

    __tablename__ = "weight_change"
    SAME = ("organ_id", "subject")
    __table_args__ = (
        Index(
            "uq_weight_change_first",
            "organ_id",
            "subject",
            unique=True,
            **WHERE_FIRST,
        ),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"))
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("weight_change.id"), unique=True)
    subject: Mapped[str]
    factor: Mapped[float]
    words: Mapped[str]
    kept_at: Mapped[datetime]
