"""Tables of recordings, what was heard in them, and readings."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import BigInteger, ForeignKey, Index, Integer, UniqueConstraint, false, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from walkboard.book.models.base import WHERE_FIRST, Base
from walkboard.book.models.columns import Numbers
from walkboard.book.models.facts import WHERE_HERE, Fact, Version
from walkboard.book.models.visits import DescriptionRow, VisitRow


class SoundRow(Base):
    """The content of a recording, stored once however often it is used."""

    __tablename__ = "sound"
    sha256: Mapped[str] = mapped_column(primary_key=True)
    extension: Mapped[str]
    bytes: Mapped[int] = mapped_column(Integer().with_variant(BigInteger(), "postgresql"))


class RecordingRow(Fact, Base):
    """A recording imported at a visit.

    Two copies of the book may each import the same one; their hearings are then one series.
    """

    __tablename__ = "recording"
    __table_args__ = (
        Index("uq_recording_visit_id_sha256", "visit_id", "sha256", unique=True, **WHERE_HERE),
        Index("ix_recording_visit_id_sha256", "visit_id", "sha256"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"))
    sha256: Mapped[str] = mapped_column(ForeignKey("sound.sha256"), index=True)
    file_name: Mapped[str]
    recorded_at: Mapped[datetime | None]
    kept_at: Mapped[datetime]
    visit: Mapped[VisitRow] = relationship()
    sound: Mapped[SoundRow] = relationship()


class HearingRow(Version, Base):
    """One walk as one version of the program heard it.

    `change` is empty for a hearing, "relabelled" if the user changed the label, and "withdrawn" if
    the recording no longer counts; such a row has no holds.
    """

    __tablename__ = "hearing"
    __table_args__ = (
        Index(
            "uq_hearing_first",
            "recording_id",
            unique=True,
            **WHERE_FIRST,
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
