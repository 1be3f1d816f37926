"""The calendar's events, and which device made a tick."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add them; earlier ticks name no device."""
    op.add_column("tick", sa.Column("device", sa.Text(), nullable=False, server_default=""))
    op.create_table(
        "event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("organ_id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.Column("starts_at", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("stops", sa.Text(), nullable=False),
        sa.Column("air_celsius", sa.Float(), nullable=True),
        sa.Column("cancelled", sa.Boolean(), nullable=False),
        sa.Column("kept_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["organ_id"], ["organ.id"], name="fk_event_organ_id"),
        sa.ForeignKeyConstraint(["supersedes_id"], ["event.id"], name="fk_event_supersedes_id"),
        sa.PrimaryKeyConstraint("id", name="pk_event"),
        sa.UniqueConstraint("supersedes_id", name="uq_event_supersedes_id"),
    )
    op.create_index(
        "uq_event_first",
        "event",
        ["organ_id", "uid"],
        unique=True,
        sqlite_where=sa.text("supersedes_id IS NULL"),
        postgresql_where=sa.text("supersedes_id IS NULL"),
    )
