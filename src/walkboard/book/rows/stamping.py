"""Stamps every new fact with its uid, device, sequence number, person, and what it follows.

It happens when a row is inserted, inside the transaction that writes it, so no part of the book
has to think of it. The book's write lock makes the numbers of one device rise without gaps.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Select, TextClause, event, insert, select, text, update
from sqlalchemy.orm import Mapper, Session, aliased, object_session

from walkboard.book.models import (
    Base,
    DeviceNameRow,
    Fact,
    HearingRow,
    OwnDeviceRow,
    PersonRow,
    RecordingRow,
    Version,
    VisitClosingRow,
)
from walkboard.book.rows.acting import Named, person_at_work
from walkboard.book.rows.knowing import known_work
from walkboard.book.rows.uids import next_uid
from walkboard.book.rows.versions import heads, root
from walkboard.errors import BookError

_KEY = "stamps"


@dataclass(slots=True)
class Stamps:
    """The stamps of one transaction.

    Attributes
    ----------
    at : callable
        Returns what the book's clock showed last.
    folder : Path
        The book's; its name is that of a device that is made by this transaction.
    """

    at: Callable[[], datetime]
    folder: Path
    device_uid: str = ""
    sequence: int = 0
    last_uid: str = ""
    _person_uid: str | None = None

    def next(self, connection: Connection) -> tuple[str, str, int]:
        """The uid, device and sequence number of the next fact."""
        self.load(connection)
        self.sequence += 1
        self.last_uid = next_uid(self.last_uid, int(self.at().timestamp() * 1000))
        return self.last_uid, self.device_uid, self.sequence

    def person_uid(self, connection: Connection) -> str:
        """Who records; asked once.

        Raises
        ------
        BookError
            When somebody was named who is not in the book.
        """
        if self._person_uid is None:
            at_work = person_at_work(self.folder)
            self._person_uid = (
                _uid_of(connection, at_work.name, self.folder)
                if isinstance(at_work, Named)
                else at_work
            )
        return self._person_uid

    def see(self, connection: Connection, uid: str) -> None:
        """Put all later facts after one that arrived from another copy."""
        self.load(connection)
        self.last_uid = max(self.last_uid, uid)
        # A book put back from a backup may receive facts that it noted itself after the backup.
        own = connection.scalar(
            _over_facts("device_sequence", "device_uid = :device"), {"device": self.device_uid}
        )
        self.sequence = max(self.sequence, own or 0)

    def store(self, connection: Connection) -> None:
        """Write how far it has counted; nothing if nothing was stamped."""
        if self.device_uid:
            connection.execute(
                update(OwnDeviceRow).values(last_sequence=self.sequence, last_uid=self.last_uid)
            )

    def load(self, connection: Connection) -> None:
        """Find this copy's device, or make one."""
        if self.device_uid:
            return
        own = connection.execute(select(OwnDeviceRow.__table__)).one_or_none()
        if own is not None:
            self.device_uid, self.sequence = own.device_uid, own.last_sequence
            self.last_uid = own.last_uid
            return
        # A copy that was made by a program counts as a new device: two that count alike would give
        # different facts the same number.
        self.device_uid, self.last_uid = (
            str(uuid.uuid4()),
            connection.scalar(_over_facts("fact_uid", "1 = 1")) or "",
        )
        connection.execute(
            insert(OwnDeviceRow).values(
                id=1,
                device_uid=self.device_uid,
                last_sequence=0,
                last_uid=self.last_uid,
                leaves_sound=False,
            )
        )
        uid, device, sequence = self.next(connection)
        connection.execute(
            insert(DeviceNameRow).values(
                fact_uid=uid,
                device_uid=device,
                device_sequence=sequence,
                name=self.folder.name,
                named_at=self.at(),
            )
        )


def begin(session: Session, stamps: Stamps) -> None:
    """Let a session stamp the facts that it inserts."""
    session.info[_KEY] = stamps


def of(session: Session) -> Stamps:
    """The stamps of a session."""
    stamps: Stamps = session.info[_KEY]
    return stamps


def fact_classes() -> tuple[type[Any], ...]:
    """Every class of facts."""
    return tuple(m.class_ for m in Base.registry.mappers if issubclass(m.class_, Fact))


def versions_of(row: Version) -> Select[str, tuple[str, ...]] | None:
    """The uid and `follows` of every version of the same thing; None if its `SAME` is empty."""
    kind = type(row)
    query = select(kind.fact_uid, kind.follows)
    if isinstance(row, HearingRow):
        # Both copies of a book may have imported the same recording at the same visit.
        one, other = aliased(RecordingRow), aliased(RecordingRow)
        return (
            query.join(one, HearingRow.recording_id == one.id)
            .join(other, (other.visit_id == one.visit_id) & (other.sha256 == one.sha256))
            .where(other.id == row.recording_id)
        )
    if not kind.SAME:
        return None
    return query.where(*(getattr(kind, name) == getattr(row, name) for name in kind.SAME))


def _uid_of(connection: Connection, name: str, folder: Path) -> str:
    plain = " ".join(name.split()).casefold()
    rows = connection.execute(select(PersonRow.uid, PersonRow.name).order_by(PersonRow.id))
    found = next((uid for uid, one in rows if one.casefold() == plain), None)
    if found is None:
        raise BookError(
            f"There is no person named {name!r} in this book, so nothing was recorded.",
            where=str(folder),
            fix="'walkboard people list' shows everyone; 'walkboard people add' adds somebody.",
        )
    return found


@lru_cache(maxsize=2)
def _over_facts(column: str, condition: str) -> TextClause:
    """SQL for the largest value of a column of all facts."""
    each = (
        f"SELECT max({column}) AS top FROM {kind.__tablename__} WHERE {condition}"  # noqa: S608
        for kind in fact_classes()
    )
    return text(f"SELECT max(top) FROM ({' UNION ALL '.join(each)}) AS tops")  # noqa: S608


@event.listens_for(Fact, "before_insert", propagate=True)
def _stamp(_mapper: Mapper[Any], connection: Connection, row: Fact) -> None:
    session = object_session(row)
    assert session is not None
    stamps = of(session)
    row.fact_uid, row.device_uid, row.device_sequence = stamps.next(connection)
    row.person_uid = stamps.person_uid(connection)
    if isinstance(row, Version):
        row.follows = _followed(connection, row)


def _followed(connection: Connection, row: Version) -> tuple[str, ...]:
    query = versions_of(row)
    if query is not None:
        newest = heads((uid, follows) for uid, follows in connection.execute(query))
        if isinstance(row, VisitClosingRow):
            return (*newest, *known_work(connection, row.visit_id))
        return newest
    kind: Any = type(row)
    before = getattr(row, "supersedes_id", None)
    if before is None:
        return ()
    owner = getattr(kind, kind.WITHIN)
    of_owner = select(kind.id, kind.fact_uid, kind.follows)
    rows = connection.execute(of_owner.where(owner == getattr(row, kind.WITHIN))).all()
    follows = {one.fact_uid: one.follows for one in rows}
    first = root(next(one.fact_uid for one in rows if one.id == before), follows)
    return heads((uid, seen) for uid, seen in follows.items() if root(uid, follows) == first)
