"""The series that versions belong to: what they are versions of, and the order they are in."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Table, select

from walkboard.book.merging.planning import Series
from walkboard.book.models import Base
from walkboard.book.rows.stamping import fact_classes
from walkboard.book.rows.versions import root


@dataclass(frozen=True, slots=True)
class Member:
    """One version: of what, its uid, and what it follows."""

    key: tuple[Any, ...]
    uid: str
    follows: Sequence[str]


def keys_of(here: Connection, table: Table, values: Sequence[Mapping[str, Any]]) -> list[Hashable]:
    """What each new row is a version of."""
    kind = _kind(table)
    if table.name == "hearing":
        of_recording = _recordings(here, {one["recording_id"] for one in values})
        return [of_recording[one["recording_id"]] for one in values]
    if kind.WITHIN:
        known = _follows(here, table, {one[kind.WITHIN] for one in values})
        follows = known | {one["fact_uid"]: one["follows"] for one in values}
        return [(one[kind.WITHIN], root(one["fact_uid"], follows)) for one in values]
    return [tuple(one[name] for name in kind.SAME) for one in values]


def series_of(here: Connection, table: Table, keys: Iterable[Any]) -> dict[Hashable, Series]:
    """The series of some things, as they are in the book.

    Parameters
    ----------
    here : Connection
    table : Table
    keys : iterable of tuple
        As `keys_of` gives them.
    """
    wanted = set(keys)
    found: dict[Hashable, Series] = {}
    for one in members(here, table, {key[0] for key in wanted}):
        if one.key in wanted:
            found.setdefault(one.key, Series()).put(one.uid)
    return found


def owner_of(table: Table) -> str:
    """The column of a table of versions that the first part of its keys is from."""
    kind = _kind(table)
    return "visit_id" if table.name == "hearing" else str(kind.WITHIN or kind.SAME[0])


def members(here: Connection, table: Table, owners: set[Any]) -> Iterator[Member]:
    """Every version that belongs to some organs, visits or faults, as `owner_of` says."""
    kind = _kind(table)
    version = (table.c.fact_uid, table.c.follows)
    if kind.WITHIN:
        rows = here.execute(_where_in(table.c[kind.WITHIN], owners, *version)).all()
        follows = {uid: seen for _, uid, seen in rows}
        for owner, uid, seen in rows:
            yield Member((owner, root(uid, follows)), uid, seen)
        return
    if table.name == "hearing":
        recording = Base.metadata.tables["recording"]
        query = _where_in(recording.c.visit_id, owners, recording.c.sha256, *version).join(
            table, table.c.recording_id == recording.c.id
        )
    else:
        first, *others = (table.c[name] for name in kind.SAME)
        query = _where_in(first, owners, *others, *version)
    for row in here.execute(query):
        yield Member(tuple(row[:-2]), row[-2], row[-1])


def _where_in(
    column: ColumnElement[Any], values: set[Any], *also: ColumnElement[Any]
) -> Select[*tuple[Any, ...]]:
    return select(column, *also).where(column.in_(values))


def _kind(table: Table) -> Any:
    (kind,) = (kind for kind in fact_classes() if kind.__tablename__ == table.name)
    return kind


def _follows(here: Connection, table: Table, owners: set[Any]) -> dict[str, Sequence[str]]:
    column = table.c[owner_of(table)]
    query = select(table.c.fact_uid, table.c.follows).where(column.in_(owners))
    return {row[0]: row[1] for row in here.execute(query)}


def _recordings(here: Connection, ids: set[int]) -> dict[int, Hashable]:
    recording = Base.metadata.tables["recording"]
    query = select(recording.c.id, recording.c.visit_id, recording.c.sha256)
    rows = here.execute(query.where(recording.c.id.in_(ids)))
    return {id_: (visit, sha256) for id_, visit, sha256 in rows}
