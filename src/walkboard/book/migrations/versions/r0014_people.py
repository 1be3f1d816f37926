"""People: their roles, what they sign in with, and who recorded a fact."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"


def upgrade() -> None:
    """Add the tables."""
    op.create_table(
        "person",
        _number("id"),
        _text("uid"),
        _text("name"),
        _text("added_at"),
        sa.PrimaryKeyConstraint("id", name="pk_person"),
        sa.UniqueConstraint("uid", name="uq_person_uid"),
    )
    _of_person(
        "membership",
        _number("id"),
        sa.Column("organ_id", sa.Integer(), nullable=True),
        _text("role"),
        _text("kept_at"),
        sa.ForeignKeyConstraint(["organ_id"], ["organ.id"], name="fk_membership_organ_id"),
    )
    _of_person(
        "passkey",
        _number("id"),
        _text("credential"),
        _text("public_key"),
        _number("uses"),
        _text("name"),
        _text("added_at"),
        sa.UniqueConstraint("credential", name="uq_passkey_credential"),
    )
    _of_person(
        "recovery",
        _text("finder"),
        _text("hash"),
        _text("made_at"),
        sa.UniqueConstraint("finder", name="uq_recovery_finder"),
        key="person_id",
    )
    _of_person(
        "invitation",
        _text("hash"),
        _text("ends_at"),
        sa.UniqueConstraint("hash", name="uq_invitation_hash"),
        key="person_id",
    )
    _of_person("openid", _text("issuer"), _text("subject"), _text("linked_at"), key="person_id")
    op.create_index("uq_openid_issuer", "openid", ["issuer", "subject"], unique=True)
    _of_person(
        "session",
        _number("id"),
        _text("hash"),
        _text("browser"),
        _text("began_at"),
        _text("ends_at"),
        sa.UniqueConstraint("hash", name="uq_session_hash"),
    )


def _text(name: str) -> "sa.Column[str]":
    return sa.Column(name, sa.Text(), nullable=False)


def _number(name: str) -> "sa.Column[int]":
    return sa.Column(name, sa.Integer(), nullable=False)


def _of_person(table: str, *rest: Any, key: str = "id") -> None:
    op.create_table(
        table,
        _number("person_id"),
        *rest,
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=f"fk_{table}_person_id"),
        sa.PrimaryKeyConstraint(key, name=f"pk_{table}"),
    )
    if key == "id":
        op.create_index(f"ix_{table}_person_id", table, ["person_id"])
