"""What a copy of a book says, without what differs between copies: numbers of rows, and when a fact
arrived. Written against the database itself, so that it shares nothing with the merge."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from walkboard.book.files.folder import DATABASE

PARTS = {
    "division_conditions": ("conditions", "conditions_id", "division"),
    "hold": ("hearing", "hearing_id", "position"),
    "reading": ("hold", "hold_id", "position"),
    "plan_reference": ("plan", "plan_id", "position"),
    "plan_item": ("plan", "plan_id", "position"),
    "plan_curve": ("plan", "plan_id", "position"),
}
LOCAL_TABLES = {"own_device", "organ_change", "visit_change", "alembic_version"} | {
    "membership",
    "passkey",
    "recovery",
    "invitation",
    "openid",
    "session",
    "person",
    "pipe_now",
    "pipes_now",
}


def contents(folder: Path) -> dict[str, dict[str, dict[str, Any]]]:
    """Every row of every table by its name in all copies, with names in place of numbers."""
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        connection.row_factory = sqlite3.Row
        tables = [
            name
            for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            if name not in LOCAL_TABLES
        ]
        columns = {
            t: [c["name"] for c in connection.execute(f"PRAGMA table_info({t})")] for t in tables
        }
        facts = [t for t in tables if "fact_uid" in columns[t]]
        assert {*tables} - {*facts} - {*PARTS} - {"sound"} == set(), "a table the merge ignores"
        rows = {t: [dict(r) for r in connection.execute(f"SELECT * FROM {t}")] for t in tables}
        keys = {
            t: {
                c["from"]: c["table"]
                for c in connection.execute(f"PRAGMA foreign_key_list({t})")
                if c["to"] == "id"
            }
            for t in tables
        }
    names: dict[tuple[str, int], str] = {
        (t, row["id"]): row["fact_uid"] for t in facts for row in rows[t]
    }
    for part, (owner, by, place) in PARTS.items():
        for row in rows[part]:
            names[part, row["id"]] = f"{names[owner, row[by]]}/{row[place]}"
    return {
        t: {
            row.get("sha256", "") if t == "sound" else names[t, row["id"]]: {
                name: names[keys[t][name], value]
                if name in keys[t] and value is not None
                else value
                for name, value in row.items()
                if name not in {"id", "arrived_at"}
            }
            for row in rows[t]
        }
        for t in tables
    }


def noted(folder: Path) -> dict[str, dict[str, dict[str, Any]]]:
    """The same without the columns that only repeat other facts."""
    derived = {"supersedes_id", "version", "organ_version", "closed_at", "closing_note"}
    found = contents(folder)
    found["visit_closing"] = {**found["visit_closing"]}
    return {
        t: {
            uid: row
            if t == "visit_closing"
            else {name: value for name, value in row.items() if name not in derived}
            for uid, row in rows.items()
        }
        for t, rows in found.items()
    }
