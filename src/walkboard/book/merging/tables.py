"""How the tables hang together: facts, the parts of a fact, and what leads to the organ."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Table

from walkboard.book.models import Base
from walkboard.book.rows.stamping import fact_classes

OWNERS = {
    "visit_correction": "visit_id",
    "visit_closing": "visit_id",
    "conditions": "visit_id",
    "note": "visit_id",
    "recording": "visit_id",
    "hearing": "recording_id",
    "plan": "visit_id",
    "tick": "visit_id",
    "settling": "visit_id",
    "fault_link": "fault_id",
    "fault_mending": "fault_id",
    "fault_tie": "fault_id",
    "fault_care": "fault_id",
}
"""The column that leads to the organ, for facts without an ``organ_id``."""

PARTS = {
    "conditions": ("division_conditions",),
    "hearing": ("hold",),
    "hold": ("reading",),
    "plan": ("plan_reference", "plan_item", "plan_curve"),
}
"""The tables of the rows that belong to a fact, or to one of its parts."""

NO_ORGAN = frozenset({"device_name"})
"""Facts that belong to no organ; a merge always brings them."""

BY_NAME = {"sound": "sha256", "person": "uid"}
"""Tables of rows that are named by themselves. Sounds come with the facts that use them, people
always: so that a fact shows who noted it. What they may do and sign in with stays where it is."""

SERIES = frozenset({"event", "weight_change", "plan", "hearing", "conditions", "air_log"})
"""Facts of which each has at most one next, by ``supersedes_id``."""

DERIVED: dict[str, dict[str, Any]] = {
    "visit": {"closed_at": None, "closing_note": ""},
    "event": {"supersedes_id": None},
    "weight_change": {"supersedes_id": None},
    "plan": {"supersedes_id": None, "organ_version": None},
    "hearing": {"supersedes_id": None},
    "conditions": {"supersedes_id": None},
    "air_log": {"supersedes_id": None},
    "description": {"version": None},
    "reading": {"supersedes_id": None},
}
"""Columns that follow from the facts, with what they are until `deriving` sets them."""

LOCAL = frozenset({"id", "arrived_at"})
"""Columns that differ between copies."""


@dataclass(frozen=True, slots=True)
class Reference:
    """A column that names a row of another table."""

    column: str
    table: str


def stamped_tables() -> tuple[Table, ...]:
    """The tables of facts, each after those it names rows of."""
    facts = {kind.__tablename__ for kind in fact_classes()}
    return tuple(table for table in Base.metadata.sorted_tables if table.name in facts)


def references(table: Table) -> Iterator[Reference]:
    """The columns that name rows by number, except those that are derived."""
    derived = DERIVED.get(table.name, {})
    for column in table.columns:
        for key in column.foreign_keys:
            if key.column.name == "id" and column.name not in derived:
                yield Reference(column.name, key.column.table.name)


def of_organ(table: Table) -> str:
    """SQL for the id and uid of each fact of an organ, whose number is ``:organ``."""
    joins, here = "", table
    while here.name != "organ" and "organ_id" not in here.c:
        owner = OWNERS[here.name]
        there = next(iter(here.c[owner].foreign_keys)).column.table.name
        joins += f" JOIN {there} ON {here.name}.{owner} = {there}.id"
        here = Base.metadata.tables[there]
    column = "id" if here.name == "organ" else "organ_id"
    return (
        f"SELECT {table.name}.id, {table.name}.fact_uid FROM {table.name}{joins}"  # noqa: S608
        f" WHERE {here.name}.{column} = :organ"
    )
