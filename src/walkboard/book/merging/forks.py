"""Forks: what several people did to the same thing on different copies of the book."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Table, select
from sqlalchemy.orm import Session

from walkboard.book.merging.devices import EARLIER, Devices
from walkboard.book.merging.series import Member, members, owner_of
from walkboard.book.models import (
    Base,
    DescriptionRow,
    DeviceNameRow,
    FaultRow,
    VisitClosingRow,
    VisitRow,
)
from walkboard.book.records import Fork, ForkKind, ForkSide
from walkboard.book.rows.knowing import Missed, missed_work
from walkboard.book.rows.storing import newest_descriptions
from walkboard.book.rows.versions import heads


@dataclass(frozen=True, slots=True)
class _Shown:
    """How a kind of version is shown: when it was noted, what it says, what it is about."""

    kind: ForkKind
    noted: str
    words: Callable[[Any], str]
    about: Callable[[Any], str]


def _of_visit(row: Any) -> str:
    return f"visit {row.visit_id}"


def _of_fault(row: Any) -> str:
    return f"fault {row.fault_id}"


_SHOWN = {
    "visit_closing": _Shown(ForkKind.CLOSINGS, "closed_at", lambda row: row.note, _of_visit),
    "fault_mending": _Shown(ForkKind.FIXES, "mended_at", lambda row: row.note, _of_fault),
    "hearing": _Shown(
        ForkKind.HEARINGS,
        "heard_at",
        lambda row: row.change or ", ".join(row.drawn),
        lambda row: f"recording {row.recording_id}",
    ),
    "description": _Shown(
        ForkKind.DESCRIPTIONS, "added_at", lambda row: f"description {row.version}", lambda _: ""
    ),
    "plan": _Shown(ForkKind.PLANS, "made_at", lambda row: f"{row.minutes:g} minutes", _of_visit),
    "conditions": _Shown(ForkKind.CONDITIONS, "noted_at", lambda _: "", _of_visit),
    "visit_correction": _Shown(
        ForkKind.CORRECTIONS, "corrected_at", lambda row: row.purpose, _of_visit
    ),
    "event": _Shown(ForkKind.EVENTS, "kept_at", lambda row: row.title, lambda row: row.uid),
    "weight_change": _Shown(
        ForkKind.WEIGHTS, "kept_at", lambda row: f"{row.factor:g}", lambda row: row.subject
    ),
    "fault_link": _Shown(
        ForkKind.LINKS,
        "linked_at",
        lambda row: " ".join(filter(None, (row.stop, row.key, row.rank))),
        _of_fault,
    ),
    "fault_care": _Shown(ForkKind.CARES, "kept_at", lambda row: row.who, _of_fault),
    "contact": _Shown(ForkKind.CONTACTS, "kept_at", lambda row: row.name, lambda row: row.role),
    "next_visit": _Shown(
        ForkKind.NEXT_VISITS,
        "kept_at",
        lambda row: "" if row.arrives_at is None else f"{row.arrives_at:%Y-%m-%d}",
        lambda _: "",
    ),
    "air_log": _Shown(ForkKind.AIR_LOGS, "kept_at", lambda row: row.place, lambda _: ""),
}


class Forks(Devices):
    """What was done on several devices to the same thing."""

    def forks(self, organ_id: int) -> tuple[Fork, ...]:
        """Every fork of an organ, those that wait for someone first.

        A fork ends when someone who has both in their book does the next thing: closes a visit,
        stores a description, hears the recording again.

        Raises
        ------
        BookError
            When there is no such organ.
        """
        with self._reading() as session:
            self._newest_description(session, organ_id)
            names = self._names(session)
            if len(names) < 2:
                return ()  # one device knows all that it does
            found = [
                *_open_visits(session, organ_id, names),
                *_missed_work(session, organ_id, names),
                *_same_names(session, organ_id, names),
                *_forked(session, organ_id, names),
            ]
        return tuple(sorted(found, key=lambda fork: fork.kind.is_settled))

    def _names(self, session: Session) -> dict[str, str]:
        rows = session.execute(
            select(DeviceNameRow.device_uid, DeviceNameRow.name).order_by(DeviceNameRow.fact_uid)
        )
        return {row[0]: row[1] for row in rows}


def _open_visits(session: Session, organ_id: int, names: dict[str, str]) -> Iterator[Fork]:
    query = select(VisitRow).where(VisitRow.organ_id == organ_id, VisitRow.closed_at.is_(None))
    rows = list(session.scalars(query.order_by(VisitRow.fact_uid)))
    if len(rows) > 1:
        sides = (_side(row, row.opened_at, row.purpose, names) for row in rows)
        yield Fork(ForkKind.OPEN_VISITS, "", tuple(sides))


def _missed_work(session: Session, organ_id: int, names: dict[str, str]) -> Iterator[Fork]:
    visits = select(VisitRow).where(VisitRow.organ_id == organ_id, VisitRow.closed_at.is_not(None))
    of_visit: dict[int, list[Missed]] = defaultdict(list)
    ids = list(session.scalars(visits.with_only_columns(VisitRow.id)))
    for one in missed_work(session.connection(), ids):
        of_visit[one.visit_id].append(one)
    for visit_id, missed in of_visit.items():
        row = session.scalars(
            select(VisitClosingRow)
            .where(VisitClosingRow.visit_id == visit_id)
            .order_by(VisitClosingRow.fact_uid.desc())
            .limit(1)
        ).one()
        closed = _side(row, row.closed_at, row.note, names, counts=True)
        work = (_side(one.newest, one.newest.at, _counted(one.counts), names) for one in missed)
        yield Fork(ForkKind.MISSED_WORK, f"visit {visit_id}", (closed, *work), visit_id)


def _counted(counts: Mapping[str, int]) -> str:
    words = []
    for kind, n in counts.items():
        match kind:
            case "recordings":
                words.append("one recording" if n == 1 else f"{n} recordings")
            case "ticks":
                words.append("one tick" if n == 1 else f"{n} ticks")
            case "plans":
                words.append("one plan" if n == 1 else f"{n} plans")
            case _:
                words.append("conditions once" if n == 1 else f"conditions {n} times")
    return ", ".join(words)


def _same_names(session: Session, organ_id: int, names: dict[str, str]) -> Iterator[Fork]:
    rows = list(session.scalars(newest_descriptions().order_by(DescriptionRow.fact_uid)))
    own = next(row.name.casefold() for row in rows if row.organ_id == organ_id)
    same = [row for row in rows if row.name.casefold() == own]
    if len(same) > 1:
        sides = (
            _side(row, row.added_at, f"organ {row.organ_id}, {row.name}", names) for row in same
        )
        yield Fork(ForkKind.NAMES, "", tuple(sides))


def _forked(session: Session, organ_id: int, names: dict[str, str]) -> Iterator[Fork]:
    owners: dict[str, set[int]] = {
        "organ_id": {organ_id},
        "visit_id": {*session.scalars(select(VisitRow.id).where(VisitRow.organ_id == organ_id))},
        "fault_id": {*session.scalars(select(FaultRow.id).where(FaultRow.organ_id == organ_id))},
    }
    for name, shown in _SHOWN.items():
        table = Base.metadata.tables[name]
        of_one: dict[tuple[Any, ...], list[Member]] = defaultdict(list)
        for one in members(session.connection(), table, owners[owner_of(table)]):
            of_one[one.key].append(one)
        for versions in of_one.values():
            newest = heads((one.uid, one.follows) for one in versions)
            if len(newest) > 1:
                yield _fork(session, table, shown, newest, names)


def _fork(
    session: Session, table: Table, shown: _Shown, uids: tuple[str, ...], names: dict[str, str]
) -> Fork:
    query = select(table).where(table.c.fact_uid.in_(uids)).order_by(table.c.fact_uid)
    rows = session.execute(query).all()
    return Fork(
        kind=shown.kind,
        about=shown.about(rows[-1]),
        sides=tuple(
            _side(row, getattr(row, shown.noted), shown.words(row), names, counts=row is rows[-1])
            for row in rows
        ),
    )


def _side(
    row: Any,
    noted_at: datetime,
    words: str,
    names: dict[str, str],
    *,
    counts: bool = False,
) -> ForkSide:
    device = names.get(row.device_uid, EARLIER)
    return ForkSide(device, row.id, words, noted_at, row.arrived_at, counts)
