"""Which rows count now, and which new row replaces which old one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from typing import TypeVar

from sqlalchemy import Select, select
from sqlalchemy.orm import aliased

from walkboard.book.models import (
    EventRow,
    HearingRow,
    HoldRow,
    ReadingRow,
    RecordingRow,
    WeightChangeRow,
)
from walkboard.book.records import HearingChange

Replaced = TypeVar("Replaced", EventRow, WeightChangeRow)


def current(kind: type[Replaced]) -> Select[Replaced]:
    """The rows of a kind that no newer row replaces."""
    newer = aliased(kind)
    superseded = select(newer.id).where(newer.supersedes_id == kind.id)
    return select(kind).where(~superseded.exists())


def newest_hearings(as_of: datetime | None = None) -> Select[HearingRow]:
    """The newest hearing of each recording, also of a recording that was withdrawn.

    Parameters
    ----------
    as_of : datetime or None
        State of the book at that time; None for now.
    """
    newer = aliased(HearingRow)
    superseded = select(newer.id).where(newer.supersedes_id == HearingRow.id)
    query = select(HearingRow)
    if as_of is not None:
        superseded = superseded.where(newer.heard_at <= as_of)
        query = query.where(HearingRow.heard_at <= as_of)
    return query.where(~superseded.exists())


def current_hearings(as_of: datetime | None = None) -> Select[HearingRow]:
    """The same without withdrawn recordings."""
    return newest_hearings(as_of).where(HearingRow.change != HearingChange.WITHDRAWN)


def current_readings() -> Select[HearingRow]:
    """The readings of current hearings, joined with their recordings and holds."""
    return (
        current_hearings()
        .join(RecordingRow, HearingRow.recording_id == RecordingRow.id)
        .join(HoldRow, HoldRow.hearing_id == HearingRow.id)
        .join(ReadingRow, ReadingRow.hold_id == HoldRow.id)
    )


def same_recording(recording_id: int) -> Select[int]:
    """The ids of a recording and of the same content at the same visit, from another copy."""
    one, same = aliased(RecordingRow), aliased(RecordingRow)
    return (
        select(same.id)
        .join(one, (one.visit_id == same.visit_id) & (one.sha256 == same.sha256))
        .where(one.id == recording_id)
    )


def supersede_readings(old_holds: Iterable[HoldRow], new_holds: Iterable[HoldRow]) -> None:
    """Link each new reading to the old one it replaces.

    That is the reading of the same pipe whose hold overlaps most; each is used once. An old reading
    that no new one replaces is superseded too, with its whole hearing.
    """
    old_of: dict[tuple[str, int], list[tuple[HoldRow, ReadingRow]]] = defaultdict(list)
    for hold in old_holds:
        for reading in hold.readings:
            old_of[reading.rank, reading.number].append((hold, reading))
    pairs = [
        (_overlap_s(old_hold, hold), old, new)
        for hold in new_holds
        for new in hold.readings
        for old_hold, old in old_of[new.rank, new.number]
    ]
    used: set[int] = set()
    for overlap_s, old, new in sorted(pairs, key=lambda pair: -pair[0]):
        if overlap_s > 0.0 and new.supersedes_id is None and old.id not in used:
            new.supersedes_id = old.id
            used.add(old.id)


def _overlap_s(one: HoldRow, other: HoldRow) -> float:
    return min(one.end_s, other.end_s) - max(one.start_s, other.start_s)
