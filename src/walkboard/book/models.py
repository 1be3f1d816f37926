"""The book's tables. Rows stay inside the book; `walkboard.book.records` is what comes out.

Rows are never edited or removed, with one exception: closing a visit writes to its row, once.
A row is replaced by a new row whose `supersedes_id` names the old one. That column is unique, so
nothing can be superseded twice.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    Float,
    ForeignKey,
    Index,
    MetaData,
    Text,
    UniqueConstraint,
    false,
    text,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from walkboard.book.columns import Instant, Numbers, Words

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


def _only_where(condition: str) -> dict[str, Any]:
    """The condition of a partial index, for each database that the tables are written for."""
    return {"sqlite_where": text(condition), "postgresql_where": text(condition)}


_WHERE_FIRST = _only_where("supersedes_id IS NULL")


class Base(DeclarativeBase):
    """Root of the tables."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map = {  # noqa: RUF012 - SQLAlchemy reads it from the class
        str: Text(),
        float: Float(),
        datetime: Instant(),
        tuple[str, ...]: Words(),
    }


class OrganRow(Base):
    """An organ: what its versions have in common."""

    __tablename__ = "organ"
    id: Mapped[int] = mapped_column(primary_key=True)
    added_at: Mapped[datetime]


class DescriptionRow(Base):
    """One version of an organ's description."""

    __tablename__ = "description"
    __table_args__ = (UniqueConstraint("organ_id", "version"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"))
    version: Mapped[int]
    name: Mapped[str]
    toml: Mapped[str]
    added_at: Mapped[datetime]


class VisitRow(Base):
    """A visit; closing it is the one edit there is."""

    __tablename__ = "visit"
    __table_args__ = (
        Index("uq_visit_open", "organ_id", unique=True, **_only_where("closed_at IS NULL")),
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
    conditions: Mapped[list[ConditionsRow]] = relationship(order_by="ConditionsRow.id")
    notes: Mapped[list[NoteRow]] = relationship(order_by="NoteRow.id")
    corrections: Mapped[list[VisitCorrectionRow]] = relationship(order_by="VisitCorrectionRow.id")


class VisitCorrectionRow(Base):
    """A visit's purpose and minutes as they were corrected; the newest counts."""

    __tablename__ = "visit_correction"
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"), index=True)
    purpose: Mapped[str]
    minutes: Mapped[float | None]
    words: Mapped[str]
    corrected_at: Mapped[datetime]


class ConditionsRow(Base):
    """One noting of the conditions, perhaps a correction of an earlier one."""

    __tablename__ = "conditions"
    __table_args__ = (Index("uq_conditions_supersedes_id", "supersedes_id", unique=True),)
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


class NoteRow(Base):
    """A note on a visit."""

    __tablename__ = "note"
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"), index=True)
    words: Mapped[str]
    noted_at: Mapped[datetime]


class SoundRow(Base):
    """The content of a recording, once however often it is used."""

    __tablename__ = "sound"
    sha256: Mapped[str] = mapped_column(primary_key=True)
    extension: Mapped[str]
    bytes: Mapped[int]


class RecordingRow(Base):
    """A recording taken in at a visit."""

    __tablename__ = "recording"
    __table_args__ = (UniqueConstraint("visit_id", "sha256"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"))
    sha256: Mapped[str] = mapped_column(ForeignKey("sound.sha256"), index=True)
    file_name: Mapped[str]
    recorded_at: Mapped[datetime | None]
    kept_at: Mapped[datetime]
    visit: Mapped[VisitRow] = relationship()
    sound: Mapped[SoundRow] = relationship()


class HearingRow(Base):
    """One walk as one version of the program heard it.

    `change` is empty for a hearing, "relabelled" where the user said anew what was recorded, and
    "withdrawn" where the recording no longer counts; a row of that kind has no holds.
    """

    __tablename__ = "hearing"
    __table_args__ = (
        Index(
            "uq_hearing_first",
            "recording_id",
            unique=True,
            **_WHERE_FIRST,
        ),
        Index("ix_hearing_recording_id", "recording_id"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_id: Mapped[int] = mapped_column(ForeignKey("recording.id"))
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("hearing.id"), unique=True)
    description_id: Mapped[int] = mapped_column(ForeignKey("description.id"))
    program_version: Mapped[str]
    heard_at: Mapped[datetime]
    file: Mapped[str]
    seconds: Mapped[float]
    sample_rate: Mapped[int]
    channels: Mapped[int]
    format: Mapped[str]
    organ: Mapped[str]
    drawn: Mapped[tuple[str, ...]]
    air_celsius: Mapped[float | None]
    silent_keys: Mapped[tuple[str, ...]]
    warnings: Mapped[tuple[str, ...]]
    change: Mapped[str] = mapped_column(server_default=text("''"))
    words: Mapped[str] = mapped_column(server_default=text("''"))
    heard: Mapped[str | None]  # as walkboard.survey.recognise.to_json writes it
    not_held: Mapped[tuple[str, ...]] = mapped_column(server_default=text("'[]'"))
    unsure_keys: Mapped[tuple[str, ...]] = mapped_column(server_default=text("'[]'"))
    recording: Mapped[RecordingRow] = relationship()
    description: Mapped[DescriptionRow] = relationship()
    holds: Mapped[list[HoldRow]] = relationship(order_by="HoldRow.position")


class HoldRow(Base):
    """One held key."""

    __tablename__ = "hold"
    __table_args__ = (UniqueConstraint("hearing_id", "position"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    hearing_id: Mapped[int] = mapped_column(ForeignKey("hearing.id"))
    position: Mapped[int]
    n: Mapped[int]
    semitone: Mapped[int | None]
    split: Mapped[bool] = mapped_column(server_default=false())
    key_number: Mapped[int | None]
    start_s: Mapped[float]
    end_s: Mapped[float]
    sureness: Mapped[float]
    flags: Mapped[tuple[str, ...]]
    readings: Mapped[list[ReadingRow]] = relationship(order_by="ReadingRow.position")


class ReadingRow(Base):
    """One pipe measured in one hold."""

    __tablename__ = "reading"
    __table_args__ = (
        UniqueConstraint("hold_id", "position"),
        Index("ix_reading_rank_number", "rank", "number"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    hold_id: Mapped[int] = mapped_column(ForeignKey("hold.id"))
    position: Mapped[int]
    rank: Mapped[str]
    number: Mapped[int]
    hz: Mapped[float | None]
    sigma_cents: Mapped[float | None]
    cents: Mapped[float | None]
    level_db: Mapped[float | None]
    start_s: Mapped[float]
    end_s: Mapped[float]
    wander_cents: Mapped[float | None]
    flags: Mapped[tuple[str, ...]]
    near_hz: Mapped[float | None]
    bound_cents: Mapped[float | None]
    either_hz: Mapped[tuple[float, ...] | None] = mapped_column(Numbers)
    either_sigma_cents: Mapped[tuple[float, ...] | None] = mapped_column(Numbers)
    name_sureness: Mapped[float | None]
    beat_hz: Mapped[float | None]
    partial_numbers: Mapped[tuple[float, ...]] = mapped_column(Numbers, server_default="[]")
    partial_levels_db: Mapped[tuple[float, ...]] = mapped_column(Numbers, server_default="[]")
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("reading.id"), unique=True)


class PlanRow(Base):
    """A plan of a visit."""

    __tablename__ = "plan"
    __table_args__ = (
        Index("uq_plan_first", "visit_id", unique=True, **_WHERE_FIRST),
        Index("ix_plan_visit_id", "visit_id"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"))
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("plan.id"), unique=True)
    made_at: Mapped[datetime]
    event_air_celsius: Mapped[float | None]
    organ_version: Mapped[int | None]
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


class TickRow(Base):
    """A tick, once however often it is sent."""

    __tablename__ = "tick"
    __table_args__ = (CheckConstraint("state IN ('done', 'skipped', 'open')", name="state"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    uid: Mapped[str] = mapped_column(unique=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"), index=True)
    rank: Mapped[str]
    number: Mapped[int]
    state: Mapped[str]
    note: Mapped[str]
    at: Mapped[datetime]
    received_at: Mapped[datetime]
    device: Mapped[str] = mapped_column(server_default=text("''"))


class SettlingRow(Base):
    """How one pipe was heard settling after a hand was on it."""

    __tablename__ = "settling"
    __table_args__ = (UniqueConstraint("visit_id", "rank", "number", "heard_at"),)
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
    mending: Mapped[FaultMendingRow | None] = relationship()
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


class FaultMendingRow(Base):
    """The end of a fault."""

    __tablename__ = "fault_mending"
    id: Mapped[int] = mapped_column(primary_key=True)
    fault_id: Mapped[int] = mapped_column(ForeignKey("fault.id"), unique=True)
    visit_id: Mapped[int | None] = mapped_column(ForeignKey("visit.id"), index=True)
    note: Mapped[str]
    mended_at: Mapped[datetime]


class FaultTieRow(Base):
    """One fault's tie to another: a double of it, or the same come back after it was mended."""

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


class EventRow(Base):
    """One version of a calendar event."""

    __tablename__ = "event"
    __table_args__ = (
        Index(
            "uq_event_first",
            "organ_id",
            "uid",
            unique=True,
            **_WHERE_FIRST,
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


class WeightChangeRow(Base):
    """One version of a weight that the tuner changed."""

    __tablename__ = "weight_change"
    __table_args__ = (
        Index(
            "uq_weight_change_first",
            "organ_id",
            "subject",
            unique=True,
            **_WHERE_FIRST,
        ),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    organ_id: Mapped[int] = mapped_column(ForeignKey("organ.id"))
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("weight_change.id"), unique=True)
    subject: Mapped[str]
    factor: Mapped[float]
    words: Mapped[str]
    kept_at: Mapped[datetime]
