"""Tables of plans, ticks, and how handled pipes settled."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from walkboard.book.models.base import WHERE_FIRST, Base
from walkboard.book.models.facts import WHERE_HERE, Fact, Version


class PlanRow(Version, Base):
    """A plan of a visit."""

    __tablename__ = "plan"
    SAME = ("visit_id",)
    __table_args__ = (
        Index("uq_plan_first", "visit_id", unique=True, **WHERE_FIRST),
        Index("ix_plan_visit_id", "visit_id"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"))
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("plan.id"), unique=True)
    made_at: Mapped[datetime]
    event_air_celsius: Mapped[float | None]
    organ_version: Mapped[int | None]
    purpose: Mapped[str | None]
    minutes: Mapped[float]
    cost_before: Mapped[float]
    cost_after: Mapped[float]
    cost_bound: Mapped[float]
    minutes_used: Mapped[float]
    walk_minutes: Mapped[float] = mapped_column(server_default=text("'0.0'"))
    walk_bound_minutes: Mapped[float] = mapped_column(server_default=text("'0.0'"))
    notes: Mapped[tuple[str, ...]] = mapped_column(server_default=text("'[]'"))
    references: Mapped[list[PlanReferenceRow]] = relationship(order_by="PlanReferenceRow.position")
    items: Mapped[list[PlanItemRow]] = relationship(order_by="PlanItemRow.position")
    curve: Mapped[list[PlanCurveRow]] = relationship(order_by="PlanCurveRow.position")


class PlanReferenceRow(Base):
    """The pitch that a plan sets for one division."""

    __tablename__ = "plan_reference"
    __table_args__ = (UniqueConstraint("plan_id", "position"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    plan_id: Mapped[int] = mapped_column(ForeignKey("plan.id"))
    position: Mapped[int]
    division: Mapped[str]
    shift_cents: Mapped[float]
    air_celsius: Mapped[float]
    event_celsius: Mapped[float | None]


class PlanItemRow(Base):
    """One pipe of a plan."""

    __tablename__ = "plan_item"
    __table_args__ = (UniqueConstraint("plan_id", "position"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    plan_id: Mapped[int] = mapped_column(ForeignKey("plan.id"))
    position: Mapped[int]
    order: Mapped[int]
    rank: Mapped[str]
    number: Mapped[int]
    cents: Mapped[float]
    target_hz: Mapped[float]
    move: Mapped[str]
    minutes: Mapped[float]
    why: Mapped[str]
    gain: Mapped[float] = mapped_column(server_default=text("'0.0'"))


class PlanCurveRow(Base):
    """One point of a plan's curve."""

    __tablename__ = "plan_curve"
    __table_args__ = (UniqueConstraint("plan_id", "position"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    plan_id: Mapped[int] = mapped_column(ForeignKey("plan.id"))
    position: Mapped[int]
    minutes: Mapped[float]
    cost: Mapped[float]


class TickRow(Fact, Base):
    """A tick, stored once however often it is sent."""

    __tablename__ = "tick"
    __table_args__ = (
        CheckConstraint("state IN ('done', 'skipped', 'open')", name="state"),
        Index("uq_tick_uid", "uid", unique=True, **WHERE_HERE),
        Index("ix_tick_uid", "uid"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str]
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"), index=True)
    rank: Mapped[str]
    number: Mapped[int]
    state: Mapped[str]
    note: Mapped[str]
    at: Mapped[datetime]
    received_at: Mapped[datetime]
    device: Mapped[str] = mapped_column(server_default=text("''"))


class SettlingRow(Fact, Base):
    """How one pipe settled after being touched."""

    __tablename__ = "settling"
    __table_args__ = (
        Index(
            "uq_settling_visit_id_rank_number_heard_at",
            "visit_id",
            "rank",
            "number",
            "heard_at",
            unique=True,
            **WHERE_HERE,
        ),
        Index("ix_settling_visit_id", "visit_id"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"))
    rank: Mapped[str]
    number: Mapped[int]
    tuned_by: Mapped[str]
    log_tau: Mapped[float]
    log_tau_sigma: Mapped[float]
    offset_cents: Mapped[float]
    offset_sigma_cents: Mapped[float]
    heard_at: Mapped[datetime]
