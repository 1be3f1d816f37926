"""Counters of changes per organ and per visit; their triggers are in `book.rows.counting`."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Add the tables; their rows and triggers come with the newest version."""
    op.create_table(
        "organ_change",
        sa.Column("organ_id", sa.Integer(), autoincrement=False, nullable=False),
        *(
            _counter(part)
            for part in ("descriptions", "visits", "conditions", "hearings", "ticks", "plans",
                         "faults", "events", "others")
        ),
        sa.PrimaryKeyConstraint("organ_id", name="pk_organ_change"),
    )  # fmt: skip
    op.create_table(
        "visit_change",
        sa.Column("visit_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("organ_id", sa.Integer(), nullable=False),
        *(_counter(part) for part in ("visits", "conditions", "hearings", "ticks", "plans")),
        sa.PrimaryKeyConstraint("visit_id", name="pk_visit_change"),
    )
    op.create_index("ix_visit_change_organ_id", "visit_change", ["organ_id"])


def _counter(part: str) -> sa.Column[int]:
    return sa.Column(part, sa.Integer(), nullable=False, server_default="0")
