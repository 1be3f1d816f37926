"""What every fact of the book carries, so that copies of a book can be merged.

A fact is what someone noted in one go: a visit opened, a hearing with its holds and readings, a
plan with its items. Its row has the columns of `Fact`. Rows that belong to it (`PARTS`) are stored
with it and never later; they are named by their fact and their position in it.
"""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar

from sqlalchemy import text
from sqlalchemy.orm import Mapped, mapped_column

from walkboard.book.models.base import DERIVED, Base, only_where

WHERE_HERE = only_where("arrived_at IS NULL")
"""Of facts noted in this copy of the book; what a merge brings is not refused."""

_EMPTY = text("''")


class Fact:
    """Columns of a fact.

    `fact_uid` names it in every copy of the book, and its order is the order of facts. `person_uid`
    is who noted it; empty where nobody signs in.
    `device_uid` and `device_sequence` are the copy in which it was noted, and its place among that
    copy's facts. `arrived_at` is when this book received it from another copy; None if it was noted
    here.
    """

    fact_uid: Mapped[str] = mapped_column(
        server_default=_EMPTY, index=True, unique=True, sort_order=90
    )
    device_uid: Mapped[str] = mapped_column(server_default=_EMPTY, sort_order=91)
    device_sequence: Mapped[int] = mapped_column(server_default=text("'0'"), sort_order=92)
    person_uid: Mapped[str] = mapped_column(server_default=_EMPTY, sort_order=93)
    arrived_at: Mapped[datetime | None] = mapped_column(sort_order=94)


class Version(Fact):
    """A fact that takes the place of earlier ones about the same thing.

    `follows` names the facts that its author saw as the newest: one, or several if two people had
    gone on from the same one. A fact that no other follows is a head; two heads are a fork.
    """

    SAME: ClassVar[tuple[str, ...]] = ()
    """The columns that are equal in all versions of one thing; empty: those it supersedes."""

    WITHIN: ClassVar[str] = ""
    """The column of what holds them together, if `SAME` is empty."""

    follows: Mapped[tuple[str, ...]] = mapped_column(server_default=text("'[]'"), sort_order=95)


class DeviceNameRow(Fact, Base):
    """A name of a device, that is, of a copy of the book; its newest counts."""

    __tablename__ = "device_name"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    named_at: Mapped[datetime]


class OwnDeviceRow(Base):
    """The device that this copy of the book writes as, and how far it has counted. One row."""

    __tablename__ = "own_device"
    __table_args__ = ({"info": DERIVED},)
    id: Mapped[int] = mapped_column(primary_key=True)
    device_uid: Mapped[str]
    last_sequence: Mapped[int]
    last_uid: Mapped[str]
    leaves_sound: Mapped[bool]  # the recordings' files stay in the book it was taken from
