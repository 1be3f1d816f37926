"""Who reported a fault, which are doubles of another, and which came back."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add them; unknown for older faults."""
    op.add_column("fault", sa.Column("reporter", sa.Text(), nullable=False, server_default=""))
    op.create_table(
        "fault_tie",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fault_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("other_id", sa.Integer(), nullable=False),
        sa.Column("tied_at", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('double of', 'again')", name="ck_fault_tie_kind"),
        sa.ForeignKeyConstraint(["fault_id"], ["fault.id"], name="fk_fault_tie_fault_id"),
        sa.ForeignKeyConstraint(["other_id"], ["fault.id"], name="fk_fault_tie_other_id"),
        sa.PrimaryKeyConstraint("id", name="pk_fault_tie"),
        sa.UniqueConstraint("fault_id", "kind", name="uq_fault_tie_fault_id_kind"),
    )
