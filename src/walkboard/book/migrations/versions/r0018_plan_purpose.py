"""What the organ mostly does, as a plan was made for; the next plan starts with it."""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0015"


def upgrade() -> None:
    """Add it; empty for older plans, of which nobody knows."""
    op.add_column("plan", sa.Column("purpose", sa.Text(), nullable=True))
