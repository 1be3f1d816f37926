"""What tuning each pipe of a plan gains."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Add it; plans made before did not record it."""
    op.add_column(
        "plan_item",
        sa.Column("gain", sa.Float(), nullable=False, server_default="0.0"),
    )
