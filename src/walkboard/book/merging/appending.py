"""Writes the facts of one organ that this copy lacks, with their parts."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Table, insert, select, update

from walkboard.book.merging.planning import Facts, Series, missing
from walkboard.book.merging.reading import AT_ONCE, rows_with
from walkboard.book.merging.series import keys_of, series_of
from walkboard.book.merging.tables import DERIVED, LOCAL, PARTS, SERIES, references, stamped_tables
from walkboard.book.models import Base, SoundRow

Count = Callable[[int], None]
"""Called with the number of facts just written."""


@dataclass(slots=True)
class Appending:
    """Appends the missing facts of an organ inside one transaction.

    Parameters
    ----------
    there, here : Connection
        The copy that is read, and the book that is written.
    arrived_at : datetime
        When this book receives them.
    count : callable
    """

    there: Connection
    here: Connection
    arrived_at: datetime
    count: Count
    ids: dict[tuple[str, int], int] = field(default_factory=dict)
    hearings: set[int] = field(default_factory=set)
    """Hearings whose predecessor is new or has changed."""

    def append(self, facts_there: Facts, facts_here: Facts) -> dict[str, dict[str, int]]:
        """Write what is there and not here; each table's new rows by uid."""
        lacking = missing(facts_there, facts_here)
        added: dict[str, dict[str, int]] = {}
        for table in stamped_tables():
            known = facts_here.get(table.name, {})
            found = facts_there.get(table.name, {})
            self.ids.update(
                {(table.name, id_): known[uid] for uid, id_ in found.items() if uid in known}
            )
            uids = lacking.get(table.name, ())
            if uids:
                added[table.name] = self._table(table, [found[uid] for uid in uids], known)
        return added

    def _table(
        self, table: Table, ids_there: Sequence[int], known: Mapping[str, int]
    ) -> dict[str, int]:
        added: dict[str, int] = {}
        for rows in rows_with(self.there, table, "id", ids_there):
            rows.sort(key=lambda row: row["fact_uid"])
            self._sounds(row["sha256"] for row in rows if "sha256" in row)
            values = [self._values(table, row) for row in rows]
            if table.name in SERIES:
                new = self._put_in_series(table, values, {**known, **added})
            else:
                if table.name == "description":
                    _number_for_now(self.here, values)
                new = self._insert(table, values)
            for row, id_ in zip(rows, new, strict=True):
                self.ids[table.name, row["id"]] = id_
                added[row["fact_uid"]] = id_
            self._parts(table.name, [row["id"] for row in rows])
            self.count(len(rows))
        return added

    def _parts(self, owner: str, ids_there: Sequence[int]) -> None:
        for name in PARTS.get(owner, ()):
            table = Base.metadata.tables[name]
            for rows in rows_with(self.there, table, f"{owner}_id", ids_there):
                values = [self._values(table, row) for row in rows]
                if name not in PARTS:
                    self.here.execute(insert(table), values) if values else None
                    continue
                for row, id_ in zip(rows, self._insert(table, values), strict=True):
                    self.ids[name, row["id"]] = id_
                self._parts(name, [row["id"] for row in rows])

    def _values(self, table: Table, row: Mapping[str, Any]) -> dict[str, Any]:
        """A row as written here: own numbers, and derived columns not set yet."""
        values = {name: value for name, value in row.items() if name not in LOCAL}
        for one in references(table):
            if values[one.column] is not None:
                values[one.column] = self.ids[one.table, values[one.column]]
        values |= DERIVED.get(table.name, {})
        if "arrived_at" in table.c:
            values["arrived_at"] = self.arrived_at
        return values

    def _insert(self, table: Table, values: Sequence[dict[str, Any]]) -> list[int]:
        query = insert(table).returning(table.c.id, sort_by_parameter_order=True)
        return list(self.here.scalars(query, values)) if values else []

    def _put_in_series(
        self, table: Table, values: Sequence[dict[str, Any]], known: Mapping[str, int]
    ) -> list[int]:
        """Insert versions one by one, each between the two it belongs between."""
        ids = dict(known)
        keys = keys_of(self.here, table, values)
        series = series_of(self.here, table, set(keys))
        new: list[int] = []
        for key, one in zip(keys, values, strict=True):
            of_one = series.setdefault(key, Series())
            place = of_one.put(one["fact_uid"])
            after = None if place.after is None else self._id_of(table, place.after, ids)
            if after is not None:
                # Nothing is superseded twice, so the next one lets go first: for the moment it
                # names the last of all, which nothing supersedes.
                self._supersede(table, after, self._id_of(table, of_one.uids[-1], ids))
            before = None if place.before is None else self._id_of(table, place.before, ids)
            (id_,) = self._insert(table, [{**one, "supersedes_id": before}])
            ids[one["fact_uid"]] = id_
            if after is not None:
                self._supersede(table, after, id_)
            if table.name == "hearing":
                self.hearings |= {id_} if after is None else {id_, after}
            new.append(id_)
        return new

    def _id_of(self, table: Table, uid: str, ids: dict[str, int]) -> int:
        if uid not in ids:
            ids[uid] = self.here.scalars(select(table.c.id).where(table.c.fact_uid == uid)).one()
        return ids[uid]

    def _supersede(self, table: Table, id_: int, old: int) -> None:
        self.here.execute(update(table).where(table.c.id == id_).values(supersedes_id=old))

    def _sounds(self, hashes: Iterable[str]) -> None:
        wanted = sorted(set(hashes))
        sound: Table = Base.metadata.tables[SoundRow.__tablename__]
        for at in range(0, len(wanted), AT_ONCE):
            some = wanted[at : at + AT_ONCE]
            query = select(sound.c.sha256).where(sound.c.sha256.in_(some))
            new = sorted({*some} - {*self.here.scalars(query)})
            for rows in rows_with_hash(self.there, sound, new):
                self.here.execute(insert(sound), rows)


def rows_with_hash(
    there: Connection, sound: Table, hashes: Sequence[str]
) -> Iterable[list[dict[str, Any]]]:
    """The rows of some sounds; nothing if there are none."""
    rows = there.execute(select(sound).where(sound.c.sha256.in_(hashes))).mappings()
    found = [dict(row) for row in rows] if hashes else []
    return [found] if found else []


def _number_for_now(here: Connection, values: Sequence[dict[str, Any]]) -> None:
    """Give new descriptions free numbers; `deriving` numbers all of them in their order."""
    table = Base.metadata.tables["description"]
    for one in values:
        taken = select(table.c.version).where(table.c.organ_id == one["organ_id"])
        one["version"] = max([*here.scalars(taken), 0]) + 1
    for place, one in enumerate(values):
        one["version"] += place
