"""How pipes settled after being touched, to predict the next ones."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from walkboard.book.models import HearingRow, RecordingRow, SettlingRow, VisitRow
from walkboard.book.records import HearingChange, KeptSettling
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.superseding import newest_hearings
from walkboard.book.rows.values import instant, number
from walkboard.organ.model import PipeRef


class Settlings(Storing):
    """What each touched pipe showed of its cooling."""

    def keep_settlings(self, settlings: Iterable[KeptSettling]) -> int:
        """Store several, all of them or none; a known one is not stored twice.

        Parameters
        ----------
        settlings : iterable of KeptSettling

        Returns
        -------
        int
            How many were new.

        Raises
        ------
        BookError
            If there is no such visit, it is closed, or a value is not a number.
        """
        with self._writing() as session:
            new = 0
            for one in settlings:
                self._visit_at_work(session, one.visit_id)
                row = _row_of(one)
                known = select(SettlingRow.id).where(
                    SettlingRow.visit_id == row.visit_id,
                    SettlingRow.rank == row.rank,
                    SettlingRow.number == row.number,
                    SettlingRow.heard_at == row.heard_at,
                )
                if session.scalar(known) is None:
                    session.add(row)
                    session.flush()
                    new += 1
            return new

    def settlings(self, organ_id: int | None = None) -> tuple[KeptSettling, ...]:
        """How pipes settled, oldest first, except in withdrawn recordings.

        Parameters
        ----------
        organ_id : int or None
            One organ, or None for all in the book.
        """
        query = select(SettlingRow).order_by(SettlingRow.heard_at, SettlingRow.fact_uid)
        if organ_id is not None:
            query = query.join(VisitRow).where(VisitRow.organ_id == organ_id)
        with self._reading() as session:
            rows = list(session.scalars(query))
            silent = _withdrawn_spans(session) if rows else []
            # Two copies of the book may have stored the same one: the newest counts.
            of_one = {(row.visit_id, row.rank, row.number, row.heard_at): row for row in rows}
            return tuple(
                _settling_of(row)
                for row in of_one.values()
                if not any(
                    visit == row.visit_id and begins <= row.heard_at <= ends
                    for visit, begins, ends in silent
                )
            )


def _withdrawn_spans(session: Session) -> list[tuple[int, datetime, datetime]]:
    """Visit, start and end of each withdrawn live recording."""
    query = (
        newest_hearings()
        .where(HearingRow.change == HearingChange.WITHDRAWN)
        .join(RecordingRow, HearingRow.recording_id == RecordingRow.id)
        .where(RecordingRow.recorded_at.is_not(None))
        .with_only_columns(RecordingRow.visit_id, RecordingRow.recorded_at, HearingRow.seconds)
    )
    # A live recording is dated by its end.
    return [
        (visit, ends - timedelta(seconds=seconds), ends)
        for visit, ends, seconds in session.execute(query)
        if ends is not None
    ]


def _row_of(one: KeptSettling) -> SettlingRow:
    return SettlingRow(
        visit_id=one.visit_id,
        rank=one.pipe.rank,
        number=int(one.pipe.number),
        tuned_by=one.tuned_by,
        log_tau=number(one.log_tau, "A time constant"),
        log_tau_sigma=number(one.log_tau_sigma, "The uncertainty of a time constant"),
        offset_cents=number(one.offset_cents, "An offset"),
        offset_sigma_cents=number(one.offset_sigma_cents, "The uncertainty of an offset"),
        heard_at=instant(one.heard_at, "When a pipe settled"),
    )


def _settling_of(row: SettlingRow) -> KeptSettling:
    return KeptSettling(
        visit_id=row.visit_id,
        pipe=PipeRef(row.rank, row.number),
        tuned_by=row.tuned_by,
        log_tau=row.log_tau,
        log_tau_sigma=row.log_tau_sigma,
        offset_cents=row.offset_cents,
        offset_sigma_cents=row.offset_sigma_cents,
        heard_at=row.heard_at,
    )
