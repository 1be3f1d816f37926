"""Facts that copies of a book can exchange: where and by whom each was noted, after what.

Earlier rows get their uids from what they say, so that two copies of an old book that are migrated
apart give the same row the same uid. Closings become rows of their own. Rules that only one copy of
a book can keep (one open visit, one fix of a fault) apply to the facts noted in it.
"""

import hashlib
import json
import re
from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"

# The tables of facts, each after those it names rows of, with the column of its time.
FACTS = {
    "organ": "added_at",
    "description": "added_at",
    "visit": "opened_at",
    "visit_correction": "corrected_at",
    "conditions": "noted_at",
    "note": "noted_at",
    "recording": "kept_at",
    "hearing": "heard_at",
    "plan": "made_at",
    "tick": "received_at",
    "settling": "heard_at",
    "event": "kept_at",
    "weight_change": "kept_at",
    "fault": "reported_at",
    "fault_link": "linked_at",
    "fault_mending": "mended_at",
    "fault_tie": "tied_at",
    "next_visit": "kept_at",
    "contact": "kept_at",
    "fault_care": "kept_at",
    "photograph": "kept_at",
    "air_log": "kept_at",
}
# Those whose facts take each other's place, with the columns that say of what they are versions;
# None: those it supersedes.
VERSIONS: dict[str, tuple[str, ...] | None] = {
    "description": ("organ_id",),
    "visit_correction": ("visit_id",),
    "conditions": None,
    "hearing": None,
    "plan": ("visit_id",),
    "event": ("organ_id", "uid"),
    "weight_change": ("organ_id", "subject"),
    "fault_link": ("fault_id",),
    "fault_mending": ("fault_id",),
    "next_visit": ("organ_id",),
    "contact": ("organ_id", "role"),
    "fault_care": ("fault_id",),
    "air_log": None,
}
HERE = "arrived_at IS NULL"
NAMES = {"other_id": "fault"}  # a column that is not named after the table it names a row of
EDITED = {"closed_at", "closing_note"}  # a visit's columns that were written at its closing


COLUMNS = (
    "fact_uid TEXT NOT NULL DEFAULT ''",
    "device_uid TEXT NOT NULL DEFAULT ''",
    "device_sequence INTEGER NOT NULL DEFAULT '0'",
    "person_uid TEXT NOT NULL DEFAULT ''",
    "arrived_at TEXT",
)
FOLLOWS = "follows TEXT NOT NULL DEFAULT '[]'"
# Rules of one copy: table, its constraint, its columns, and how many of them are looked up.
LOOSENED = (
    ("recording", "uq_recording_visit_id_sha256", ("visit_id", "sha256"), 2),
    ("tick", "uq_tick_uid", ("uid",), 1),
    (
        "settling",
        "uq_settling_visit_id_rank_number_heard_at",
        ("visit_id", "rank", "number", "heard_at"),
        1,
    ),
    ("fault", "uq_fault_uid", ("uid",), 1),
    ("fault_mending", "uq_fault_mending_fault_id", ("fault_id",), 1),
    ("fault_tie", "uq_fault_tie_fault_id_kind", ("fault_id", "kind"), 1),
)


def upgrade() -> None:
    """Add columns and tables, name the earlier rows, and make closings of the closed visits."""
    connection = op.get_bind()
    quote = connection.dialect.identifier_preparer.quote
    run = connection.exec_driver_sql  # many times faster than Alembic's own operations
    for table, constraint, _, _ in LOOSENED:
        _drop_unique(connection, table, constraint)
    op.create_table(
        "visit_closing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("closed_at", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_visit_closing_visit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_visit_closing"),
    )
    op.create_index("ix_visit_closing_visit_id", "visit_closing", ["visit_id"])
    op.create_table(
        "device_name",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("named_at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_device_name"),
    )
    op.create_table(
        "own_device",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("device_uid", sa.Text(), nullable=False),
        sa.Column("last_sequence", sa.Integer(), nullable=False),
        sa.Column("last_uid", sa.Text(), nullable=False),
        sa.Column("leaves_sound", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_own_device"),
    )
    for table in (*FACTS, "visit_closing", "device_name"):
        versions = [FOLLOWS] if table in VERSIONS or table == "visit_closing" else []
        for column in (*COLUMNS, *versions):
            run(f"ALTER TABLE {table} ADD COLUMN {column}")
    for table, constraint, columns, looked_up in LOOSENED:
        listed = ", ".join(columns)
        run(f"CREATE UNIQUE INDEX {constraint} ON {table} ({listed}) WHERE {HERE}")
        keys = columns[:looked_up]
        run(f"CREATE INDEX ix_{table}_{'_'.join(keys)} ON {table} ({', '.join(keys)})")
    run("DROP INDEX uq_visit_open")
    run(f"CREATE UNIQUE INDEX uq_visit_open ON visit (organ_id) WHERE closed_at IS NULL AND {HERE}")
    _name_rows(connection)
    for table in (*FACTS, "visit_closing", "device_name"):
        run(f"CREATE UNIQUE INDEX ix_{table}_fact_uid ON {quote(table)} (fact_uid)")


def _drop_unique(connection: sa.Connection, table: str, constraint: str) -> None:
    if connection.dialect.name != "sqlite":
        connection.exec_driver_sql(f"ALTER TABLE {table} DROP CONSTRAINT {constraint}")
        return
    # SQLite rebuilds the table instead (sqlite.org/lang_altertable, 7).
    schema = "SELECT sql FROM sqlite_schema WHERE tbl_name = :table AND type = :type"
    of_it = {"table": table, "type": "table"}
    (made,) = connection.scalars(sa.text(schema), of_it)
    indexes = connection.scalars(
        sa.text(f"{schema} AND sql IS NOT NULL"), {**of_it, "type": "index"}
    ).all()
    without, found = re.subn(rf",\s*CONSTRAINT {constraint} UNIQUE \([^)]*\)", "", made)
    assert found == 1, made
    without = re.sub(rf'^CREATE TABLE "?{table}"?', f"CREATE TABLE {table}_new", without)
    for statement in (
        without,
        f"INSERT INTO {table}_new SELECT * FROM {table}",  # noqa: S608 - names of our own
        f"DROP TABLE {table}",
        f"ALTER TABLE {table}_new RENAME TO {table}",
        *indexes,
    ):
        connection.exec_driver_sql(statement)


def _name_rows(connection: sa.Connection) -> None:
    uids: dict[tuple[str, int], str] = {}
    device = ""
    for table, time in FACTS.items():
        last_ms, count = -1, 0
        newest: dict[tuple[object, ...], str] = {}
        named: list[dict[str, object]] = []
        for row in connection.execute(sa.text(f"SELECT * FROM {table} ORDER BY id")).mappings():  # noqa: S608
            said = {name: _said(name, value, table, uids) for name, value in row.items()}
            content = _hash(table, said)
            device = device or _uuid8(_hash("device", said))
            ms = _ms_of(row[time])
            last_ms, count = (ms, 0) if ms > last_ms else (last_ms, count + 1)
            if count > 0xFFF:
                last_ms, count = last_ms + 1, 0
            uid = _uuid7(last_ms, count, content)
            uids[table, row["id"]] = uid
            value: dict[str, object] = {
                "row": row["id"],
                "uid": uid,
                "device": device,
                "sequence": row["id"],
            }
            if table in VERSIONS:
                same = VERSIONS[table]
                if same is None:
                    before = uids.get((table, row["supersedes_id"]))
                else:
                    key = tuple(row[name] for name in same)
                    before = newest.get(key)
                    newest[key] = uid
                value["follows"] = json.dumps([] if before is None else [before])
            named.append(value)
        if named:
            also = ", follows = :follows" if table in VERSIONS else ""
            connection.execute(
                sa.text(
                    f"UPDATE {table} SET fact_uid = :uid, device_uid = :device,"  # noqa: S608
                    f" device_sequence = :sequence{also} WHERE id = :row"
                ),
                named,
            )
    closings = [
        {
            "visit": row["id"],
            "at": row["closed_at"],
            "note": row["closing_note"],
            "uid": _uuid7(
                _ms_of(row["closed_at"]), 0,
                _hash("closing", [row["fact_uid"], row["closed_at"], row["closing_note"]]),
            ),
            "device": row["device_uid"],
            "sequence": row["id"],
        }
        for row in connection.execute(
            sa.text("SELECT * FROM visit WHERE closed_at IS NOT NULL ORDER BY id")
        ).mappings()
    ]  # fmt: skip
    if closings:
        connection.execute(
            sa.text(
                "INSERT INTO visit_closing (visit_id, closed_at, note, fact_uid, device_uid,"
                " device_sequence) VALUES (:visit, :at, :note, :uid, :device, :sequence)"
            ),
            closings,
        )


def _said(name: str, value: object, table: str, uids: dict[tuple[str, int], str]) -> object:
    """A value, with uids in place of the numbers of rows, which differ between copies."""
    if name == "id" or (table == "visit" and name in EDITED):
        return None
    other = table if name == "supersedes_id" else NAMES.get(name, name.removesuffix("_id"))
    if other != name and isinstance(value, int):
        return uids.get((other, value), value)
    return value


def _hash(*parts: object) -> bytes:
    return hashlib.sha256(json.dumps(parts, default=repr).encode()).digest()


def _ms_of(text: str) -> int:
    try:
        at = datetime.fromisoformat(text)
    except (TypeError, ValueError):  # another program wrote it; `check` reports it
        return 0
    if at.tzinfo is None:
        at = at.replace(tzinfo=UTC)
    return min(max(int(at.timestamp() * 1000), 0), (1 << 47) - 1)


def _uuid7(ms: int, count: int, content: bytes) -> str:
    low = (int.from_bytes(content[:8]) & ((1 << 62) - 1)) | (1 << 63)
    return _uuid(f"{ms:012x}7{count:03x}{low:016x}")


def _uuid8(content: bytes) -> str:
    """A uid of our own making (RFC 9562, 5.8)."""
    low = (int.from_bytes(content[:8]) & ((1 << 62) - 1)) | (1 << 63)
    return _uuid(f"{content[8:14].hex()}8{content[14:16].hex()[1:]}{low:016x}")


def _uuid(digits: str) -> str:
    return "-".join((digits[:8], digits[8:12], digits[12:16], digits[16:20], digits[20:]))
