"""Root of the tables: names of constraints, column types, and partial indexes."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import (
    Float,
    MetaData,
    Table,
    Text,
    text,
)
from sqlalchemy.orm import DeclarativeBase

from walkboard.book.models.columns import Instant, Words

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


def only_where(condition: str) -> dict[str, Any]:
    """The condition of a partial index, for each supported database."""
    return {"sqlite_where": text(condition), "postgresql_where": text(condition)}


WHERE_FIRST = only_where("supersedes_id IS NULL")
DERIVED = {"is_derived": True}
"""Marks a table whose rows follow from the other tables: neither exported nor imported."""

PRIVATE = {"is_private": True}
"""Marks a table of what people sign in with: neither exported nor imported."""


class Base(DeclarativeBase):
    """Root of the tables."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map = {  # noqa: RUF012 - SQLAlchemy reads it from the class
        str: Text(),
        float: Float(),
        datetime: Instant(),
        tuple[str, ...]: Words(),
    }


def fact_tables() -> list[Table]:
    """The tables of facts, each after those that it names rows of; without derived and
    private ones.
    """
    left_out = {*DERIVED, *PRIVATE}
    return [t for t in Base.metadata.sorted_tables if not left_out & {*t.info}]
