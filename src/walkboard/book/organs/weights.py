"""Weights that the tuner changed by hand, for stops, ranks and single pipes."""

from __future__ import annotations

from sqlalchemy import Select, select

from walkboard.book.models import WeightChangeRow
from walkboard.book.records import KeptWeight
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.superseding import current
from walkboard.book.rows.values import number


class Weights(Storing):
    """Changed weights; a new change of the same subject replaces the last."""

    def keep_weight(
        self, organ_id: int, subject: str, factor: float, words: str = ""
    ) -> KeptWeight:
        """Store a changed weight.

        Parameters
        ----------
        organ_id : int
        subject : str
            A stop's or rank's id, or a pipe as ``rank:number``.
        factor : float
            1 undoes an earlier change.
        words : str
            Why.

        Raises
        ------
        BookError
            When there is no such organ.
        """
        with self._writing() as session:
            self._newest_description(session, organ_id)
            old = session.scalar(_newest(organ_id).where(WeightChangeRow.subject == subject))
            factor = number(factor, f"The weight of {subject}")
            if old is not None and (old.factor, old.words) == (factor, words):
                return _weight_of(old, None)
            row = WeightChangeRow(
                organ_id=organ_id,
                supersedes_id=None if old is None else old.id,
                subject=subject,
                factor=factor,
                words=words,
                kept_at=self._now(),
            )
            session.add(row)
            session.flush()
            return _weight_of(row, None)

    def weights(self, organ_id: int) -> tuple[KeptWeight, ...]:
        """The current changed weights of an organ, by subject; undone ones left out."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = _newest(organ_id).order_by(WeightChangeRow.subject)
            return tuple(_weight_of(row, None) for row in session.scalars(query) if row.factor != 1)

    def weight_versions(self, organ_id: int, subject: str) -> tuple[KeptWeight, ...]:
        """Every change of one weight, oldest first."""
        with self._reading() as session:
            query = (
                select(WeightChangeRow)
                .where(WeightChangeRow.organ_id == organ_id, WeightChangeRow.subject == subject)
                .order_by(WeightChangeRow.fact_uid)
            )
            rows = list(session.scalars(query))
            newer = {row.supersedes_id: row.id for row in rows}
            return tuple(_weight_of(row, newer.get(row.id)) for row in rows)


def _newest(organ_id: int) -> Select[WeightChangeRow]:
    return current(WeightChangeRow).where(WeightChangeRow.organ_id == organ_id)


def _weight_of(row: WeightChangeRow, superseded_by: int | None) -> KeptWeight:
    return KeptWeight(
        id=row.id,
        organ_id=row.organ_id,
        subject=row.subject,
        factor=row.factor,
        words=row.words,
        kept_at=row.kept_at,
        superseded_by=superseded_by,
    )
