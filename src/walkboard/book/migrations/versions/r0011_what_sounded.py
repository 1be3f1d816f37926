"""What was heard overall, keys not held or uncertain, and split keys."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    """Add them; unknown for older hearings."""
    op.add_column("hearing", sa.Column("heard", sa.Text(), nullable=True))
    for name in ("not_held", "unsure_keys"):
        op.add_column("hearing", sa.Column(name, sa.Text(), nullable=False, server_default="[]"))
    op.add_column(
        "hold", sa.Column[bool]("split", sa.Boolean(), nullable=False, server_default=sa.false())
    )
