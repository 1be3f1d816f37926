"""What the author of a closing knew of the work at the visit, and what came to light later.

A closing follows the newest work of each device that its author had in the book. Whatever else was
done at the visit, on a copy that did not know of the closing, is work that the closing missed.
Devices number their own facts, so clocks play no part.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    ColumnElement,
    CompoundSelect,
    Connection,
    Row,
    Select,
    column,
    func,
    literal,
    select,
    union_all,
)

from walkboard.book.models import ConditionsRow, PlanRow, RecordingRow, TickRow, VisitClosingRow

WORK: Mapping[str, tuple[type[Any], str]] = {
    "recordings": (RecordingRow, "kept_at"),
    "ticks": (TickRow, "at"),
    "plans": (PlanRow, "made_at"),
    "conditions": (ConditionsRow, "noted_at"),
}
"""What only an open visit takes, with the time of each."""


@dataclass(frozen=True, slots=True)
class Missed:
    """Work of one device that a visit's closings missed.

    Attributes
    ----------
    visit_id : int
    device_uid : str
    counts : mapping of str to int
        How many of each kind of `WORK`.
    newest : row
        The last of it: ``fact_uid``, ``id``, ``at``, ``arrived_at``.
    """

    visit_id: int
    device_uid: str
    counts: Mapping[str, int]
    newest: Row[Any]


def known_work(connection: Connection, visit_id: int) -> tuple[str, ...]:
    """The uid of each device's newest work at a visit."""
    rows = connection.execute(_work(_VISIT.in_([visit_id])).order_by("device_sequence"))
    return tuple(sorted({row.device_uid: row.fact_uid for row in rows}.values()))


def missed_work(connection: Connection, visit_ids: Sequence[int]) -> Iterator[Missed]:
    """What the closings of some visits missed, by visit and device."""
    table = VisitClosingRow.__table__
    closings = connection.execute(select(table).where(table.c.visit_id.in_(visit_ids))).all()
    closed = sorted({row.visit_id for row in closings})
    if not closed:
        return
    followed = {uid for row in closings for uid in row.follows}
    known: dict[tuple[int, str], int] = {}
    for row in (*closings, *connection.execute(_work(_UID.in_(followed)))):
        key = row.visit_id, row.device_uid
        known[key] = max(known.get(key, 0), row.device_sequence)
    late = {
        (row.visit_id, row.device_uid)
        for row in connection.execute(_newest(closed))
        if row.device_uid and row.newest > known.get((row.visit_id, row.device_uid), -1)
    }
    missed: dict[tuple[int, str], list[Row[Any]]] = defaultdict(list)
    if late:
        for row in connection.execute(_work(_VISIT.in_({visit_id for visit_id, _ in late}))):
            key = row.visit_id, row.device_uid
            if key in late and row.device_sequence > known.get(key, -1):
                missed[key].append(row)
    for (visit_id, device), rows in sorted(missed.items()):
        counts = {kind: sum(row.kind == kind for row in rows) for kind in WORK}
        newest = max(rows, key=lambda row: row.device_sequence)
        yield Missed(visit_id, device, {kind: n for kind, n in counts.items() if n}, newest)


_VISIT: ColumnElement[int] = column("visit_id")
_UID: ColumnElement[str] = column("fact_uid")


def _work(condition: ColumnElement[bool]) -> Select[Any]:
    """The work that a condition on ``visit_id`` or ``fact_uid`` picks, of every kind."""
    each = [
        select(
            literal(name).label("kind"),
            kind.visit_id,
            kind.id,
            kind.fact_uid,
            kind.device_uid,
            kind.device_sequence,
            kind.arrived_at,
            getattr(kind, at).label("at"),
        )
        for name, (kind, at) in WORK.items()
    ]
    return select(union_all(*each).subquery()).where(condition)


def _newest(visit_ids: Sequence[int]) -> CompoundSelect[Any]:
    """How far each device had counted at each visit, by kind."""
    return union_all(
        *(
            select(kind.visit_id, kind.device_uid, func.max(kind.device_sequence).label("newest"))
            .where(kind.visit_id.in_(visit_ids))
            .group_by(kind.visit_id, kind.device_uid)
            for kind, _ in WORK.values()
        )
    )
