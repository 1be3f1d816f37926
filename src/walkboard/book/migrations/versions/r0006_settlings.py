"""How pipes settled after being touched."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add them; before, this was lost after each session."""
    op.create_table(
        "settling",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("rank", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("tuned_by", sa.Text(), nullable=False),
        sa.Column("log_tau", sa.Float(), nullable=False),
        sa.Column("log_tau_sigma", sa.Float(), nullable=False),
        sa.Column("offset_cents", sa.Float(), nullable=False),
        sa.Column("offset_sigma_cents", sa.Float(), nullable=False),
        sa.Column("heard_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_settling_visit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_settling"),
        sa.UniqueConstraint(
            "visit_id",
            "rank",
            "number",
            "heard_at",
            name="uq_settling_visit_id_rank_number_heard_at",
        ),
    )
