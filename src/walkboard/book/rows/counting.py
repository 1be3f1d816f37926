"""Counters of changes per organ and per visit, kept by triggers in the transaction of the change.

Whoever writes, the counter changes with the rows: a rolled-back change does not count, and a
counter grows by each commit that touched its organ, whatever the order of the rows' ids. Equal
counters mean equal records.

`COUNTED` lists every table that holds an organ's facts. The triggers are made from it, for each
kind of database in its own form; `install` replaces them all, so a migration may rebuild any table.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from sqlalchemy import Connection, text

from walkboard.errors import BookError

PREFIX = "count_change_"  # of the triggers' names


class Part(StrEnum):
    """A part of an organ's records, counted separately: a column of the counters."""

    DESCRIPTIONS = "descriptions"
    VISITS = "visits"  # with notes and corrections
    CONDITIONS = "conditions"
    HEARINGS = "hearings"  # recordings and all that was heard in them
    TICKS = "ticks"
    PLANS = "plans"
    FAULTS = "faults"
    EVENTS = "events"
    OTHERS = "others"


OF_A_VISIT = (Part.VISITS, Part.CONDITIONS, Part.HEARINGS, Part.TICKS, Part.PLANS)
"""The parts that are counted for each visit too."""


@dataclass(frozen=True, slots=True)
class Counted:
    """A table whose changes are counted.

    Attributes
    ----------
    table : str
    part : Part
    way : tuple of str
        The tables that lead from a row to its organ, ending with one that has an ``organ_id``:
        ``("hold", "hearing")`` goes by the row's ``hold_id`` to that hold's ``hearing_id``. Empty
        for a table with its own ``organ_id``.
    """

    table: str
    part: Part
    way: tuple[str, ...] = ()

    @property
    def is_of_a_visit(self) -> bool:
        """Whether its rows belong to one visit, which is counted too."""
        return self.part in OF_A_VISIT

    def visit_of(self, row: str) -> str:
        """SQL for the visit of a row; for a part that is counted by visit."""
        if self.table == "visit":
            return f"{row}.id"
        return _along(row, self.way)

    def organ_of(self, row: str) -> str:
        """SQL for the organ of a row."""
        if self.table == "organ":
            return f"{row}.id"
        return _along(row, (*self.way, "organ"))


def _along(row: str, way: tuple[str, ...]) -> str:
    found = f"{row}.{way[0]}_id"
    for here, there in pairwise(way):
        found = f"(SELECT {there}_id FROM {here} WHERE id = {found})"  # noqa: S608 - our names
    return found


_TO_VISIT = ("hold", "hearing", "recording", "visit")
COUNTED = (
    Counted("organ", Part.DESCRIPTIONS),
    Counted("description", Part.DESCRIPTIONS),
    Counted("visit", Part.VISITS),
    Counted("visit_correction", Part.VISITS, ("visit",)),
    Counted("visit_closing", Part.VISITS, ("visit",)),
    Counted("conditions", Part.CONDITIONS, ("visit",)),
    Counted("division_conditions", Part.CONDITIONS, ("conditions", "visit")),
    Counted("note", Part.VISITS, ("visit",)),
    Counted("recording", Part.HEARINGS, _TO_VISIT[3:]),
    Counted("hearing", Part.HEARINGS, _TO_VISIT[2:]),
    Counted("hold", Part.HEARINGS, _TO_VISIT[1:]),
    Counted("reading", Part.HEARINGS, _TO_VISIT),
    Counted("tick", Part.TICKS, ("visit",)),
    Counted("plan", Part.PLANS, ("visit",)),
    Counted("plan_reference", Part.PLANS, ("plan", "visit")),
    Counted("plan_item", Part.PLANS, ("plan", "visit")),
    Counted("plan_curve", Part.PLANS, ("plan", "visit")),
    Counted("fault", Part.FAULTS),
    Counted("fault_link", Part.FAULTS, ("fault",)),
    Counted("fault_mending", Part.FAULTS, ("fault",)),
    Counted("fault_tie", Part.FAULTS, ("fault",)),
    Counted("fault_care", Part.FAULTS, ("fault",)),
    Counted("event", Part.EVENTS),
    Counted("weight_change", Part.OTHERS),
    Counted("settling", Part.OTHERS, ("visit",)),
    Counted("next_visit", Part.OTHERS),
    Counted("contact", Part.OTHERS),
    Counted("photograph", Part.OTHERS),
    Counted("air_log", Part.OTHERS),
)
"""Every table with facts of organs."""

NOT_COUNTED = frozenset({"sound", "person", "membership", "device_name"})
"""Tables of no organ's facts. A sound never changes, and is used only through a counted row."""


def install(connection: Connection) -> None:
    """Make all triggers again, give every organ and visit its counters, and let all count on.

    For a book of the newest version; inside the transaction that made it so.
    """
    drop(connection)
    match connection.dialect.name:
        case "sqlite":
            statements = _sqlite_triggers()
        case "postgresql":
            statements = _postgresql_triggers()
        case other:
            raise BookError(f"Changes cannot be counted in a {other} database.", fix="Use SQLite.")
    for statement in statements:
        connection.exec_driver_sql(statement)
    for statement in _CATCH_UP:
        connection.execute(text(statement))


def drop(connection: Connection) -> None:
    """Remove the triggers: a table that they name cannot be rebuilt while they are there."""
    for name in trigger_names(connection):
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
        else:
            connection.exec_driver_sql(f"DROP FUNCTION {name}() CASCADE")  # with its trigger


def trigger_names(connection: Connection) -> tuple[str, ...]:
    """The triggers that count, as the database has them."""
    rows = connection.exec_driver_sql(
        "SELECT name FROM sqlite_schema WHERE type = 'trigger' ORDER BY name"
        if connection.dialect.name == "sqlite"
        else "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal ORDER BY tgname"
    )
    return tuple(name for (name,) in rows if name.startswith(PREFIX))


def wanted_triggers() -> tuple[str, ...]:
    """The names they should have."""
    return tuple(sorted(f"{PREFIX}{one.table}_{event.lower()}" for one in COUNTED
                        for event in _ROWS))  # fmt: skip


_ROWS = {"INSERT": ("NEW",), "UPDATE": ("OLD", "NEW"), "DELETE": ("OLD",)}


def _sqlite_triggers() -> Iterator[str]:
    for one in COUNTED:
        for event, rows in _ROWS.items():
            body = " ".join(statement for row in rows for statement in _counting(one, row))
            first = " ".join(_rows_first(one)) if event != "DELETE" else ""
            yield (
                f"CREATE TRIGGER {PREFIX}{one.table}_{event.lower()} AFTER {event} ON {one.table}"
                f" BEGIN {first} {body} END"
            )


def _rows_first(one: Counted) -> Iterator[str]:
    """The counters' own rows, before they are counted up."""
    if one.table == "organ":
        yield (
            "INSERT INTO organ_change (organ_id) SELECT NEW.id WHERE NOT EXISTS"
            " (SELECT 1 FROM organ_change WHERE organ_id = NEW.id);"
        )
    if one.table == "visit":
        yield (
            "INSERT INTO visit_change (visit_id, organ_id) SELECT NEW.id, NEW.organ_id WHERE NOT"
            " EXISTS (SELECT 1 FROM visit_change WHERE visit_id = NEW.id);"
        )
        yield (
            "UPDATE visit_change SET organ_id = NEW.organ_id"
            " WHERE visit_id = NEW.id AND organ_id != NEW.organ_id;"
        )


_SETS = {"INSERT": ("new",), "UPDATE": ("old", "new"), "DELETE": ("old",)}


def _postgresql_triggers() -> Iterator[str]:
    """One for each statement, over the set of its rows: a hearing's readings are many."""
    for one in COUNTED:
        for event, sets in _SETS.items():
            name = f"{PREFIX}{one.table}_{event.lower()}"
            body = " ".join(
                statement
                for rows in sets
                for statement in (*_rows_of_set_first(one, rows), *_counting_set(one, rows))
            )
            seen = " ".join(f"{rows.upper()} TABLE AS {rows}_rows" for rows in sets)
            yield (
                f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS"
                f" $$ BEGIN {body} RETURN NULL; END $$"
            )
            yield (
                f'CREATE TRIGGER {name} AFTER {event} ON "{one.table}" REFERENCING {seen}'
                f" FOR EACH STATEMENT EXECUTE FUNCTION {name}()"
            )


def _rows_of_set_first(one: Counted, rows: str) -> Iterator[str]:
    if rows == "new" and one.table == "organ":
        yield (
            "INSERT INTO organ_change (organ_id) SELECT id FROM new_rows"
            " ON CONFLICT (organ_id) DO NOTHING;"
        )
    if rows == "new" and one.table == "visit":
        yield (
            "INSERT INTO visit_change (visit_id, organ_id) SELECT id, organ_id FROM new_rows"
            " ON CONFLICT (visit_id) DO UPDATE SET organ_id = EXCLUDED.organ_id;"
        )


def _counting_set(one: Counted, rows: str) -> Iterator[str]:
    # A transition table is called as its rows are: visit_of and organ_of work on either.
    of_set = f"{rows}_rows"
    if one.is_of_a_visit:
        which = f"visit_id IN (SELECT {one.visit_of(of_set)} FROM {of_set})"  # noqa: S608
        yield _up("visit_change", [one.part], which)
    which = f"organ_id IN (SELECT {one.organ_of(of_set)} FROM {of_set})"  # noqa: S608
    yield _up("organ_change", [one.part], which)


def _counting(one: Counted, row: str) -> Iterator[str]:
    if one.is_of_a_visit:
        yield _up("visit_change", [one.part], f"visit_id = {one.visit_of(row)}")
    yield _up("organ_change", [one.part], f"organ_id = {one.organ_of(row)}")


def _up(table: str, parts: Iterable[Part], which: str) -> str:
    counted = ", ".join(f"{part.value} = {part.value} + 1" for part in parts)
    return f"UPDATE {table} SET {counted} WHERE {which};"  # noqa: S608 - our names


# What was written while no trigger counted must show too: all are counted up.
_CATCH_UP = (
    """INSERT INTO organ_change (organ_id) SELECT id FROM organ
       WHERE id NOT IN (SELECT organ_id FROM organ_change)""",
    """INSERT INTO visit_change (visit_id, organ_id) SELECT id, organ_id FROM visit
       WHERE id NOT IN (SELECT visit_id FROM visit_change)""",
    _up("organ_change", Part, "true"),
    _up("visit_change", OF_A_VISIT, "true"),
)
