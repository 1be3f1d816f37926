"""Tables of change counters, which triggers of the database keep (`book.rows.counting`)."""

from __future__ import annotations

from sqlalchemy import text
from sqlalchemy.orm import Mapped, mapped_column

from walkboard.book.models.base import DERIVED, Base

_ZERO = text("'0'")


class OrganChangeRow(Base):
    """How often each part of an organ's records has changed.

    No foreign key: a counter must never begin again, whatever becomes of its organ.
    """

    __tablename__ = "organ_change"
    __table_args__ = ({"info": DERIVED},)
    organ_id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    descriptions: Mapped[int] = mapped_column(server_default=_ZERO)
    visits: Mapped[int] = mapped_column(server_default=_ZERO)
    conditions: Mapped[int] = mapped_column(server_default=_ZERO)
    hearings: Mapped[int] = mapped_column(server_default=_ZERO)
    ticks: Mapped[int] = mapped_column(server_default=_ZERO)
    plans: Mapped[int] = mapped_column(server_default=_ZERO)
    faults: Mapped[int] = mapped_column(server_default=_ZERO)
    events: Mapped[int] = mapped_column(server_default=_ZERO)
    others: Mapped[int] = mapped_column(server_default=_ZERO)


class VisitChangeRow(Base):
    """How often each part of a visit's records has changed."""

    __tablename__ = "visit_change"
    __table_args__ = ({"info": DERIVED},)
    visit_id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    organ_id: Mapped[int] = mapped_column(index=True)
    visits: Mapped[int] = mapped_column(server_default=_ZERO)
    conditions: Mapped[int] = mapped_column(server_default=_ZERO)
    hearings: Mapped[int] = mapped_column(server_default=_ZERO)
    ticks: Mapped[int] = mapped_column(server_default=_ZERO)
    plans: Mapped[int] = mapped_column(server_default=_ZERO)
