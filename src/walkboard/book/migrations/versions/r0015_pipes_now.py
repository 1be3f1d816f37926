"""Each pipe's newest value, worked out when asked and kept until its organ changes."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"


def upgrade() -> None:
    """Add the tables; they fill as they are asked for."""
    op.create_table(
        "pipe_now",
        sa.Column("organ_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("rank", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("cents", sa.Float(), nullable=False),
        sa.Column("sigma_cents", sa.Float(), nullable=False),
        sa.Column("away_cents", sa.Float(), nullable=False),
        sa.Column("sounded_at", sa.Text(), nullable=False),
        sa.Column("is_tuned_since", sa.Boolean(), nullable=False, server_default=sa.false()),
        sa.PrimaryKeyConstraint("organ_id", "rank", "number", name="pk_pipe_now"),
    )
    op.create_index("ix_pipe_now_away_cents", "pipe_now", ["away_cents"])
    op.create_table(
        "pipes_now",
        sa.Column("organ_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("visits", sa.Integer(), nullable=False),
        sa.Column("hearings", sa.Integer(), nullable=False),
        sa.Column("ticks", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("organ_id", name="pk_pipes_now"),
    )
