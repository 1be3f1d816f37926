"""The newest value of each pipe, of one organ or of all: kept in a table until the organ changes.

The table is worked out from the readings and ticks when someone asks, and stored with the organ's
counters of that moment (`walkboard.book.rows.counting`). Other counters mean that it is worked out
again, so whatever is relabelled, withdrawn, superseded or ticked, by whatever program, shows.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Executable,
    Row,
    Select,
    and_,
    bindparam,
    delete,
    func,
    insert,
    select,
)
from sqlalchemy.orm import Session

from walkboard.book.models import (
    HearingRow,
    HoldRow,
    OrganChangeRow,
    PipeNowRow,
    PipesNowRow,
    ReadingRow,
    RecordingRow,
    TickRow,
    VisitRow,
)
from walkboard.book.readings.readings import best_since
from walkboard.book.records import TickState
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.superseding import current_readings
from walkboard.book.visits.ticks import counting_of
from walkboard.errors import BookError
from walkboard.organ.model import PipeRef

_TRIES = 3  # while others write all the time. Chosen.


@dataclass(frozen=True, slots=True)
class PipeNow:
    """The newest value of a pipe.

    Attributes
    ----------
    organ_id : int
    pipe : PipeRef
        As it was called at that visit.
    cents, sigma_cents : float
        Deviation from its target at the air given for the recording, with its uncertainty [cents].
    visit_id : int
        The last visit that measured it; its value there is that of `best_readings`.
    reading_id : int
    sounded_at : datetime
    is_tuned_since : bool
        It was ticked as done after that, so that its pitch is unknown now.
    """

    organ_id: int
    pipe: PipeRef
    cents: float
    sigma_cents: float
    visit_id: int
    reading_id: int
    sounded_at: datetime
    is_tuned_since: bool


class PipesNow(Storing):
    """Newest values."""

    def pipes_now(self, organ_id: int) -> dict[PipeRef, PipeNow]:
        """The newest value of each pipe of an organ that was ever measured.

        Raises
        ------
        BookError
            When there is no such organ.
        """
        with self._reading() as session:
            self._newest_description(session, organ_id)
            if not session.execute(_outdated().where(OrganChangeRow.organ_id == organ_id)).all():
                query = _KEPT.where(PipeNowRow.organ_id == organ_id)
                return {kept.pipe: kept for kept in map(_kept_of, session.execute(query))}
        return {kept.pipe: kept for kept in self._work_out_pipes(organ_id)}

    def pipes_off(
        self,
        over_cents: float,
        progress: Callable[[float, float], None] = lambda _done, _total: None,
    ) -> tuple[PipeNow, ...]:
        """The pipes of all organs whose newest value is off by more than so much, worst first.

        Pipes tuned since are left out.

        Parameters
        ----------
        over_cents : float
        progress : callable
            Called with organs worked out and their total; only those that changed since last time
            are.
        """
        found: dict[int, list[PipeNow]] = {}
        for _ in range(_TRIES):
            with self._reading() as session:
                outdated = [row[0] for row in session.execute(_outdated())]
                kept = [_kept_of(row) for row in session.execute(_off(over_cents))]
            found = {}
            if not outdated:
                break
            for done, organ_id in enumerate(outdated):
                progress(done, len(outdated))
                found[organ_id] = self._work_out_pipes(organ_id)
        fresh = [one for one in kept if one.organ_id not in found]
        own = [one for organ in found.values() for one in organ if _is_off(one, over_cents)]
        return tuple(sorted([*fresh, *own], key=lambda one: -abs(one.cents)))

    def _work_out_pipes(self, organ_id: int) -> list[PipeNow]:
        with self._reading() as session:
            counters = session.execute(_COUNTERS.where(OrganChangeRow.organ_id == organ_id)).one()
            found = _worked_out(session, organ_id)
        visits, hearings, ticks = counters
        state = PipesNowRow(organ_id=organ_id, visits=visits, hearings=hearings, ticks=ticks)
        # If another program is writing, or the disk is full, it is worked out again next time.
        with suppress(BookError), self._writing() as session:
            for table in (PipeNowRow, PipesNowRow):
                session.execute(delete(table).where(table.organ_id == organ_id))
            session.add(state)
            if found:
                session.execute(insert(PipeNowRow), [_row_of(one) for one in found])
        return found


def _worked_out(session: Session, organ_id: int) -> list[PipeNow]:
    of_pipe: dict[tuple[str, int], list[Row[Any]]] = defaultdict(list)
    for row in session.execute(_newest(), {"organ": organ_id}):
        of_pipe[row.rank, row.number].append(row)
    done = _done_at(session, organ_id)
    found = []
    for (rank, number), rows in of_pipe.items():
        visit_id, visit_uid = rows[0].visit_id, rows[0].visit_uid
        ticks = done.get((rank, number), {})
        tuned = ticks.get(visit_uid)
        best = best_since(rows, None if tuned is None else tuned[1], _sigma_of, _sounded_at)
        sounded_at = _sounded_at(best)
        since = any(at > visit_uid for at in ticks) or (
            tuned is not None and sounded_at <= tuned[0]
        )
        found.append(
            PipeNow(
                organ_id,
                PipeRef(rank, number),
                best.cents,
                best.sigma_cents,
                visit_id,
                best.id,
                sounded_at,
                since,
            )
        )
    return found


def _done_at(
    session: Session, organ_id: int
) -> dict[tuple[str, int], dict[str, tuple[datetime, datetime]]]:
    """When a pipe was tuned at each visit: as its tick says, and from when that counts.

    Visits are named by the uids of their facts, whose order is the order of visits.
    """
    query: Select[Any] = (
        select(*TickRow.__table__.columns, VisitRow.fact_uid.label("visit_uid"))
        .join(VisitRow, TickRow.visit_id == VisitRow.id)
        .where(VisitRow.organ_id == organ_id)
        .order_by(TickRow.fact_uid)
    )
    of_visit: dict[str, list[Row[Any]]] = defaultdict(list)
    for row in session.execute(query):
        of_visit[row.visit_uid].append(row)
    found: dict[tuple[str, int], dict[str, tuple[datetime, datetime]]] = defaultdict(dict)
    for visit_uid, rows in of_visit.items():
        for tick, counts_at in counting_of(rows):
            if tick.state == TickState.DONE:
                found[tick.pipe.rank, tick.pipe.number][visit_uid] = tick.at, counts_at
    return found


def _is_off(one: PipeNow, over_cents: float) -> bool:
    return abs(one.cents) > over_cents and not one.is_tuned_since


def _sigma_of(row: Row[Any]) -> float:
    return float(row.sigma_cents)


def _sounded_at(row: Row[Any]) -> datetime:
    return row.recorded_at or row.kept_at  # type: ignore[no-any-return]


def _row_of(one: PipeNow) -> dict[str, object]:
    return {
        "organ_id": one.organ_id,
        "rank": one.pipe.rank,
        "number": one.pipe.number,
        "visit_id": one.visit_id,
        "reading_id": one.reading_id,
        "cents": one.cents,
        "sigma_cents": one.sigma_cents,
        "away_cents": abs(one.cents),
        "sounded_at": one.sounded_at,
        "is_tuned_since": one.is_tuned_since,
    }


def _kept_of(row: Row[Any]) -> PipeNow:
    return PipeNow(
        row.organ_id,
        PipeRef(row.rank, row.number),
        row.cents,
        row.sigma_cents,
        row.visit_id,
        row.reading_id,
        row.sounded_at,
        row.is_tuned_since,
    )


_KEPT = select(PipeNowRow.__table__)
_COUNTERS = select(OrganChangeRow.visits, OrganChangeRow.hearings, OrganChangeRow.ticks)


def _off(over_cents: float) -> Executable:
    return _KEPT.where(PipeNowRow.away_cents > over_cents, ~PipeNowRow.is_tuned_since)


@lru_cache(maxsize=1)
def _outdated() -> Any:
    """The organs whose newest values are to be worked out."""
    same: ColumnElement[bool] = and_(
        PipesNowRow.organ_id == OrganChangeRow.organ_id,
        PipesNowRow.visits == OrganChangeRow.visits,
        PipesNowRow.hearings == OrganChangeRow.hearings,
        PipesNowRow.ticks == OrganChangeRow.ticks,
    )
    return (
        select(OrganChangeRow.organ_id)
        .outerjoin(PipesNowRow, same)
        .where(PipesNowRow.organ_id.is_(None))
    )


@lru_cache(maxsize=1)
def _newest() -> Executable:
    """The measured readings of each pipe at the last visit that measured it, oldest first."""
    place = func.rank().over(
        partition_by=(ReadingRow.rank, ReadingRow.number), order_by=VisitRow.fact_uid.desc()
    )
    every = (
        current_readings()
        .join(VisitRow, RecordingRow.visit_id == VisitRow.id)
        .where(
            VisitRow.organ_id == bindparam("organ"),
            ReadingRow.hz.is_not(None),
            ReadingRow.sigma_cents.is_not(None),
            ReadingRow.cents.is_not(None),
        )
        .with_only_columns(
            ReadingRow.id,
            ReadingRow.rank,
            ReadingRow.number,
            ReadingRow.cents,
            ReadingRow.sigma_cents,
            ReadingRow.position,
            HoldRow.position.label("hold_position"),
            HearingRow.fact_uid.label("hearing_uid"),
            RecordingRow.fact_uid.label("recording_uid"),
            RecordingRow.visit_id,
            VisitRow.fact_uid.label("visit_uid"),
            RecordingRow.recorded_at,
            RecordingRow.kept_at,
            place.label("place"),
        )
        .subquery()
    )
    c = every.c
    order = (c.recording_uid, c.hearing_uid, c.hold_position, c.position)
    return select(every).where(c.place == 1).order_by(*order)
