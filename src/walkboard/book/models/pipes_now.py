"""Tables of each pipe's newest value, which `book.readings.pipes_now` works out when asked."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Index, false
from sqlalchemy.orm import Mapped, mapped_column

from walkboard.book.models.base import DERIVED, Base


class PipeNowRow(Base):
    """The newest value of a pipe."""

    __tablename__ = "pipe_now"
    __table_args__ = (Index("ix_pipe_now_away_cents", "away_cents"), {"info": DERIVED})
    organ_id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    rank: Mapped[str] = mapped_column(primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    visit_id: Mapped[int]
    reading_id: Mapped[int]
    cents: Mapped[float]
    sigma_cents: Mapped[float]
    away_cents: Mapped[float]  # the cents without their sign
    sounded_at: Mapped[datetime]
    is_tuned_since: Mapped[bool] = mapped_column(server_default=false())


class PipesNowRow(Base):
    """The organ's counters that its rows of `pipe_now` were worked out from."""

    __tablename__ = "pipes_now"
    __table_args__ = ({"info": DERIVED},)
    organ_id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    visits: Mapped[int]
    hearings: Mapped[int]
    ticks: Mapped[int]
