"""Ticks: the progress of a worklist, from several devices at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from walkboard.book.models import TickRow, VisitRow
from walkboard.book.records import Tick, TickState
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.values import instant
from walkboard.organ.model import PipeRef

_TICKS = select(TickRow.__table__)


class Ticks(Storing):
    """Ticks."""

    def set_tick(self, tick: Tick) -> Tick:
        """Store a tick; the same one again, by its uid, changes nothing.

        A tick made while the visit was open is stored even if it arrives after closing: the phone
        may have been asleep.

        Parameters
        ----------
        tick : Tick
            Its `received_at` is ignored; the book sets it.

        Raises
        ------
        BookError
            When there is no such visit, it was closed before the tick, the state is unknown,
            or the uid belongs to a tick that says something else.
        """
        return self.set_ticks([tick])[0]

    def set_ticks(self, ticks: Iterable[Tick]) -> tuple[Tick, ...]:
        """Store several ticks, all of them or none, each as `set_tick` does.

        Raises
        ------
        BookError
            If one of them cannot be stored.
        """
        checked = [self._checked(tick) for tick in ticks]
        with self._writing() as session:
            return tuple(self._set(session, tick) for tick in checked)

    def _checked(self, tick: Tick) -> Tick:
        if tick.state not in set(TickState):
            raise self._error(
                f"A tick cannot be {tick.state!r}.", f"It is one of: {', '.join(TickState)}."
            )
        if not tick.uid:
            raise self._error("A tick must have a uid.", "Give it one that no other tick has.")
        # Convert to UTC first: an hour that occurs twice in one zone never equals a time in
        # another.
        return replace(tick, at=instant(tick.at, "The time of the tick"))

    def _set(self, session: Session, tick: Tick) -> Tick:
        known = session.scalar(select(TickRow).where(TickRow.uid == tick.uid))
        if known is not None:
            kept = tick_of(known)
            if kept != tick:
                raise self._error(
                    f"The tick {tick.uid!r} is already stored with different contents.",
                    "Give every tick its own uid.",
                )
            return kept
        visit = self._get(session, VisitRow, tick.visit_id, "visit")
        if visit.closed_at is not None and tick.at > visit.closed_at:
            self._visit_at_work(session, tick.visit_id)
        row = TickRow(
            uid=tick.uid,
            visit_id=tick.visit_id,
            rank=tick.pipe.rank,
            number=int(tick.pipe.number),
            state=TickState(tick.state).value,
            note=tick.note,
            at=tick.at,
            received_at=self._now(),
            device=tick.device,
        )
        session.add(row)
        session.flush()
        return tick_of(row)

    def ticks(self, visit_id: int) -> tuple[Tick, ...]:
        """Every tick of a visit, in the order they count: the last of a pipe is valid.

        A tick that a device sent to two copies of the book is given once.
        """
        with self._reading() as session:
            self._get(session, VisitRow, visit_id, "visit")
            rows = _rows(session, visit_id)
            return tuple({tick.uid: tick for tick, _ in reversed(_in_order(rows))}.values())[::-1]

    def pipe_states(self, visit_id: int) -> dict[PipeRef, Tick]:
        """The valid tick of each pipe ticked at a visit, on its worklist or not."""
        with self._reading() as session:
            self._get(session, VisitRow, visit_id, "visit")
            return {tick.pipe: tick for tick, _ in counting_ticks(session, visit_id)}

    def states_of_pipe(self, organ_id: int, pipe: PipeRef) -> dict[int, Tick]:
        """The tick of one pipe that counts at each visit to an organ, by the visit's id."""
        query = (
            select(TickRow)
            .join(VisitRow, TickRow.visit_id == VisitRow.id)
            .where(VisitRow.organ_id == organ_id)
            .where(TickRow.rank == pipe.rank, TickRow.number == pipe.number)
            .order_by(TickRow.fact_uid)
        )
        of_visit: dict[int, list[TickRow]] = {}
        with self._reading() as session:
            for row in session.scalars(query):
                of_visit.setdefault(row.visit_id, []).append(row)
            return {visit: counting_of(rows)[0][0] for visit, rows in of_visit.items()}


def counting_ticks(session: Session, visit_id: int) -> list[tuple[Tick, datetime]]:
    """The valid tick of each pipe, with the time from which it counts.

    The last one counts, by the clock of the device, but no later than it was received: a device
    whose clock runs ahead must not overrule later ticks of others. A skip does not count if another
    device has done the pipe: the one who skipped it did not know it was tuned.
    """
    return counting_of(_rows(session, visit_id))


def counting_of(rows: Iterable[TickRow | Row[Any]]) -> list[tuple[Tick, datetime]]:
    """The same of the rows of one visit, given in the order of their facts."""
    newest: dict[PipeRef, tuple[Tick, datetime]] = {}
    for tick, at in _in_order(rows):
        known = newest.get(tick.pipe)
        if known is None or not _is_unknowing_skip(known[0], tick):
            newest[tick.pipe] = tick, at
    return list(newest.values())


def _is_unknowing_skip(before: Tick, tick: Tick) -> bool:
    return (
        tick.state == TickState.SKIPPED
        and before.state == TickState.DONE
        and tick.device != before.device
    )


def tick_of(row: TickRow | Row[Any]) -> Tick:
    """The tick in a row; the row may have just its columns."""
    return Tick(
        uid=row.uid,
        visit_id=row.visit_id,
        pipe=PipeRef(row.rank, row.number),
        state=row.state,
        note=row.note,
        at=row.at,
        device=row.device,
        received_at=row.received_at,
    )


def read_every_tick(session: Session) -> None:
    """Read back of every tick what can be unreadable: its instants. Raises what `tick_of` does."""
    session.execute(select(TickRow.at, TickRow.received_at)).all()


def _rows(session: Session, visit_id: int) -> Iterable[Row[Any]]:
    # Columns, not entities, of which SQLAlchemy would track the changes, at three times the cost.
    return session.execute(_TICKS.where(TickRow.visit_id == visit_id).order_by(TickRow.fact_uid))


def _in_order(rows: Iterable[TickRow | Row[Any]]) -> list[tuple[Tick, datetime]]:
    """Ticks, given in the order of their ids, by the time from which they count."""
    timed = [(tick_of(row), min(row.at, row.received_at)) for row in rows]
    return sorted(timed, key=lambda pair: pair[1])  # stable: if equal, by receipt
