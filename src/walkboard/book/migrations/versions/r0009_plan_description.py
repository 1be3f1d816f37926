"""The version of the organ's description a plan was made with."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Add it; empty for older plans, which used the visit's version."""
    op.add_column("plan", sa.Column("organ_version", sa.Integer(), nullable=True))
