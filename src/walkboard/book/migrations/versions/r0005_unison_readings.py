"""What is known of a pipe not separated from its neighbour, and the partials heard."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Add them; unknown for older readings."""
    for name in ("near_hz", "bound_cents", "name_sureness", "beat_hz"):
        op.add_column("reading", sa.Column(name, sa.Float(), nullable=True))
    for name in ("either_hz", "either_sigma_cents"):
        op.add_column("reading", sa.Column(name, sa.Text(), nullable=True))
    for name in ("partial_numbers", "partial_levels_db"):
        op.add_column("reading", sa.Column(name, sa.Text(), nullable=False, server_default="[]"))
