"""Recordings relabelled or withdrawn, and corrected visits and conditions."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Add them; nothing in an older book was relabelled or corrected.

    Older programs stored any air for an event; an impossible figure is dropped here, because
    planning for it would fail. Likewise an event in a year that no calendar page can show is
    cancelled.
    """
    for name in ("change", "words"):
        op.add_column("hearing", sa.Column(name, sa.Text(), nullable=False, server_default=""))
    op.execute(
        "ALTER TABLE conditions ADD COLUMN supersedes_id INTEGER"
        " CONSTRAINT fk_conditions_supersedes_id REFERENCES conditions (id)"
    )
    op.create_index("uq_conditions_supersedes_id", "conditions", ["supersedes_id"], unique=True)
    op.create_table(
        "visit_correction",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("purpose", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Float(), nullable=True),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("corrected_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_visit_correction_visit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_visit_correction"),
    )
    op.create_index("ix_visit_correction_visit_id", "visit_correction", ["visit_id"])
    op.execute("UPDATE event SET air_celsius = NULL WHERE air_celsius NOT BETWEEN -10 AND 45")
    columns = sa.column("cancelled", sa.Boolean()), sa.column("starts_at", sa.Text())
    event = sa.table("event", *columns)
    too_far = (event.c.starts_at < "1900") | (event.c.starts_at >= "2201")
    op.execute(event.update().where(too_far).values(cancelled=True))
