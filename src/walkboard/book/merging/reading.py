"""What one copy of a book has of an organ."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Table, TextClause, select, text

from walkboard.book.merging.planning import Facts
from walkboard.book.merging.tables import NO_ORGAN, of_organ, stamped_tables
from walkboard.book.models import Base, OrganRow

AT_ONCE = 500  # rows asked for in one question, and inserted together. Chosen.


def organs(connection: Connection) -> dict[str, int]:
    """The number of each organ by its uid, in the order of the uids."""
    query = select(OrganRow.fact_uid, OrganRow.id).order_by(OrganRow.fact_uid)
    return {row[0]: row[1] for row in connection.execute(query)}


def facts_of(connection: Connection, organ_id: int | None) -> Facts:
    """The facts of an organ.

    Parameters
    ----------
    connection : Connection
    organ_id : int or None
        None: this copy does not have the organ.
    """
    found: dict[str, dict[str, int]] = {table.name: {} for table in _of_organs()}
    if organ_id is not None:
        for name, id_, uid in connection.execute(_all_of_organ(), {"organ": organ_id}):
            found[name][uid] = id_
    return found


def facts_of_no_organ(connection: Connection) -> Facts:
    """The facts that belong to no organ."""
    found: dict[str, dict[str, int]] = {}
    for name in NO_ORGAN:
        table = Base.metadata.tables[name]
        rows = connection.execute(select(table.c.fact_uid, table.c.id))
        found[name] = {row[0]: row[1] for row in rows}
    return found


@lru_cache(maxsize=1)
def _of_organs() -> tuple[Table, ...]:
    return tuple(table for table in stamped_tables() if table.name not in NO_ORGAN)


@lru_cache(maxsize=1)
def _all_of_organ() -> TextClause:
    """One question for all tables; one by one they take many times as long."""
    each = (
        f"SELECT '{table.name}', id, fact_uid FROM ({of_organ(table)}) AS {table.name}_of_organ"  # noqa: S608
        for table in _of_organs()
    )
    return text(" UNION ALL ".join(each))


def rows_with(
    connection: Connection, table: Table, column: str, values: Sequence[Any]
) -> Iterator[list[dict[str, Any]]]:
    """The rows with certain values of a column, some at a time, in the order of their ids."""
    for at in range(0, len(values), AT_ONCE):
        query = select(table).where(table.c[column].in_(values[at : at + AT_ONCE]))
        yield [dict(row._mapping) for row in connection.execute(query.order_by(table.c.id))]  # noqa: SLF001 - public, by its documentation
