"""Which version of the organ's description a plan was made by."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Add it; plans made before leave it open: they went by the visit's."""
    op.add_column("plan", sa.Column("organ_version", sa.Integer(), nullable=True))
