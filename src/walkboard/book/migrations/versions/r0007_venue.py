"""For and from the venue: next visits, contacts, repairs, photographs, logged air."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Add their tables."""
    op.create_table(
        "next_visit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("organ_id", sa.Integer(), nullable=False),
        sa.Column("arrives_at", sa.Text(), nullable=True),
        sa.Column("hours", sa.Float(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("kept_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["organ_id"], ["organ.id"], name="fk_next_visit_organ_id"),
        sa.PrimaryKeyConstraint("id", name="pk_next_visit"),
    )
    op.create_index("ix_next_visit_organ_id", "next_visit", ["organ_id"])
    op.create_table(
        "contact",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("organ_id", sa.Integer(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("reach", sa.Text(), nullable=False),
        sa.Column("kept_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["organ_id"], ["organ.id"], name="fk_contact_organ_id"),
        sa.PrimaryKeyConstraint("id", name="pk_contact"),
    )
    op.create_index("ix_contact_organ_id", "contact", ["organ_id"])
    op.create_table(
        "fault_care",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fault_id", sa.Integer(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("parts", sa.Text(), nullable=False),
        sa.Column("meanwhile", sa.Text(), nullable=False),
        sa.Column("kept_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["fault_id"], ["fault.id"], name="fk_fault_care_fault_id"),
        sa.PrimaryKeyConstraint("id", name="pk_fault_care"),
    )
    op.create_index("ix_fault_care_fault_id", "fault_care", ["fault_id"])
    op.create_table(
        "photograph",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("organ_id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=True),
        sa.Column("fault_id", sa.Integer(), nullable=True),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("shows", sa.Text(), nullable=False),
        sa.Column("rights", sa.Text(), nullable=False),
        sa.Column("kept_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["organ_id"], ["organ.id"], name="fk_photograph_organ_id"),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_photograph_visit_id"),
        sa.ForeignKeyConstraint(["fault_id"], ["fault.id"], name="fk_photograph_fault_id"),
        sa.ForeignKeyConstraint(["sha256"], ["sound.sha256"], name="fk_photograph_sha256"),
        sa.PrimaryKeyConstraint("id", name="pk_photograph"),
    )
    op.create_index("ix_photograph_organ_id", "photograph", ["organ_id"])
    op.create_table(
        "air_log",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("organ_id", sa.Integer(), nullable=False),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("starts_at", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Text(), nullable=False),
        sa.Column("celsius", sa.Text(), nullable=False),
        sa.Column("humidity", sa.Text(), nullable=False),
        sa.Column("kept_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["organ_id"], ["organ.id"], name="fk_air_log_organ_id"),
        sa.ForeignKeyConstraint(["supersedes_id"], ["air_log.id"], name="fk_air_log_supersedes_id"),
        sa.PrimaryKeyConstraint("id", name="pk_air_log"),
        sa.UniqueConstraint("supersedes_id", name="uq_air_log_supersedes_id"),
    )
    op.create_index("ix_air_log_organ_id", "air_log", ["organ_id"])
