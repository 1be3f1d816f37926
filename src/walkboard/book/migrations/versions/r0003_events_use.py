"""How events use the organ, weights changed by hand, and what a plan says of its walks."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add them; unknown for older events and plans."""
    op.add_column("event", sa.Column("uses", sa.Text(), nullable=False, server_default="[]"))
    op.add_column(
        "event", sa.Column("air_by_division", sa.Text(), nullable=False, server_default="{}")
    )
    op.add_column(
        "plan", sa.Column("walk_minutes", sa.Float(), nullable=False, server_default="0.0")
    )
    op.add_column(
        "plan", sa.Column("walk_bound_minutes", sa.Float(), nullable=False, server_default="0.0")
    )
    op.add_column("plan", sa.Column("notes", sa.Text(), nullable=False, server_default="[]"))
    op.add_column("plan_reference", sa.Column("event_celsius", sa.Float(), nullable=True))
    op.create_table(
        "weight_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("organ_id", sa.Integer(), nullable=False),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("factor", sa.Float(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("kept_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["organ_id"], ["organ.id"], name="fk_weight_change_organ_id"),
        sa.ForeignKeyConstraint(
            ["supersedes_id"], ["weight_change.id"], name="fk_weight_change_supersedes_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_weight_change"),
        sa.UniqueConstraint("supersedes_id", name="uq_weight_change_supersedes_id"),
    )
    op.create_index(
        "uq_weight_change_first",
        "weight_change",
        ["organ_id", "subject"],
        unique=True,
        sqlite_where=sa.text("supersedes_id IS NULL"),
        postgresql_where=sa.text("supersedes_id IS NULL"),
    )
