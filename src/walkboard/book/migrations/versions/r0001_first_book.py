"""Organs, visits, recordings with their readings, plans with ticks, faults."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

# SQLite's integers have 64 bits, PostgreSQL's 32, which is too few for a recording above 2 GiB.
_BYTES = sa.Integer().with_variant(sa.BigInteger(), "postgresql")


def upgrade() -> None:
    """Make the tables of the first book."""
    _organs()
    _visits()
    _recordings()
    _plans()
    _faults()


def _organs() -> None:
    op.create_table(
        "organ",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("added_at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_organ"),
    )
    op.create_table(
        "description",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("organ_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("toml", sa.Text(), nullable=False),
        sa.Column("added_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["organ_id"], ["organ.id"], name="fk_description_organ_id"),
        sa.PrimaryKeyConstraint("id", name="pk_description"),
        sa.UniqueConstraint("organ_id", "version", name="uq_description_organ_id_version"),
    )


def _visits() -> None:
    op.create_table(
        "visit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("organ_id", sa.Integer(), nullable=False),
        sa.Column("description_id", sa.Integer(), nullable=False),
        sa.Column("purpose", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Float(), nullable=True),
        sa.Column("opened_at", sa.Text(), nullable=False),
        sa.Column("closed_at", sa.Text(), nullable=True),
        sa.Column("closing_note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["description_id"], ["description.id"], name="fk_visit_description_id"
        ),
        sa.ForeignKeyConstraint(["organ_id"], ["organ.id"], name="fk_visit_organ_id"),
        sa.PrimaryKeyConstraint("id", name="pk_visit"),
    )
    op.create_index("ix_visit_organ_id", "visit", ["organ_id"], unique=False)
    op.create_index(
        "uq_visit_open",
        "visit",
        ["organ_id"],
        unique=True,
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )
    op.create_table(
        "conditions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("noted_at", sa.Text(), nullable=False),
        sa.Column("humidity", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_conditions_visit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_conditions"),
    )
    op.create_index("ix_conditions_visit_id", "conditions", ["visit_id"], unique=False)
    op.create_table(
        "division_conditions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("conditions_id", sa.Integer(), nullable=False),
        sa.Column("division", sa.Text(), nullable=False),
        sa.Column("air_celsius", sa.Float(), nullable=True),
        sa.Column("wind_mm", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(
            ["conditions_id"], ["conditions.id"], name="fk_division_conditions_conditions_id"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_division_conditions"),
        sa.UniqueConstraint(
            "conditions_id", "division", name="uq_division_conditions_conditions_id_division"
        ),
    )
    op.create_table(
        "note",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("noted_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_note_visit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_note"),
    )
    op.create_index("ix_note_visit_id", "note", ["visit_id"], unique=False)


def _recordings() -> None:
    op.create_table(
        "sound",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("extension", sa.Text(), nullable=False),
        sa.Column("bytes", _BYTES, nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_sound"),
    )
    op.create_table(
        "recording",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("recorded_at", sa.Text(), nullable=True),
        sa.Column("kept_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["sha256"], ["sound.sha256"], name="fk_recording_sha256"),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_recording_visit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_recording"),
        sa.UniqueConstraint("visit_id", "sha256", name="uq_recording_visit_id_sha256"),
    )
    op.create_index("ix_recording_sha256", "recording", ["sha256"], unique=False)
    op.create_table(
        "hearing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.Integer(), nullable=False),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.Column("description_id", sa.Integer(), nullable=False),
        sa.Column("program_version", sa.Text(), nullable=False),
        sa.Column("heard_at", sa.Text(), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.Column("sample_rate", sa.Integer(), nullable=False),
        sa.Column("channels", sa.Integer(), nullable=False),
        sa.Column("format", sa.Text(), nullable=False),
        sa.Column("organ", sa.Text(), nullable=False),
        sa.Column("drawn", sa.Text(), nullable=False),
        sa.Column("air_celsius", sa.Float(), nullable=True),
        sa.Column("silent_keys", sa.Text(), nullable=False),
        sa.Column("warnings", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["description_id"], ["description.id"], name="fk_hearing_description_id"
        ),
        sa.ForeignKeyConstraint(["recording_id"], ["recording.id"], name="fk_hearing_recording_id"),
        sa.ForeignKeyConstraint(["supersedes_id"], ["hearing.id"], name="fk_hearing_supersedes_id"),
        sa.PrimaryKeyConstraint("id", name="pk_hearing"),
        sa.UniqueConstraint("supersedes_id", name="uq_hearing_supersedes_id"),
    )
    op.create_index("ix_hearing_recording_id", "hearing", ["recording_id"], unique=False)
    op.create_index(
        "uq_hearing_first",
        "hearing",
        ["recording_id"],
        unique=True,
        sqlite_where=sa.text("supersedes_id IS NULL"),
        postgresql_where=sa.text("supersedes_id IS NULL"),
    )
    op.create_table(
        "hold",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("hearing_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("semitone", sa.Integer(), nullable=True),
        sa.Column("key_number", sa.Integer(), nullable=True),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.Column("sureness", sa.Float(), nullable=False),
        sa.Column("flags", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["hearing_id"], ["hearing.id"], name="fk_hold_hearing_id"),
        sa.PrimaryKeyConstraint("id", name="pk_hold"),
        sa.UniqueConstraint("hearing_id", "position", name="uq_hold_hearing_id_position"),
    )
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("hold_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("rank", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("hz", sa.Float(), nullable=True),
        sa.Column("sigma_cents", sa.Float(), nullable=True),
        sa.Column("cents", sa.Float(), nullable=True),
        sa.Column("level_db", sa.Float(), nullable=True),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.Column("wander_cents", sa.Float(), nullable=True),
        sa.Column("flags", sa.Text(), nullable=False),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["hold_id"], ["hold.id"], name="fk_reading_hold_id"),
        sa.ForeignKeyConstraint(["supersedes_id"], ["reading.id"], name="fk_reading_supersedes_id"),
        sa.PrimaryKeyConstraint("id", name="pk_reading"),
        sa.UniqueConstraint("hold_id", "position", name="uq_reading_hold_id_position"),
        sa.UniqueConstraint("supersedes_id", name="uq_reading_supersedes_id"),
    )
    op.create_index("ix_reading_rank_number", "reading", ["rank", "number"], unique=False)


def _plans() -> None:
    op.create_table(
        "plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.Text(), nullable=False),
        sa.Column("event_air_celsius", sa.Float(), nullable=True),
        sa.Column("minutes", sa.Float(), nullable=False),
        sa.Column("cost_before", sa.Float(), nullable=False),
        sa.Column("cost_after", sa.Float(), nullable=False),
        sa.Column("cost_bound", sa.Float(), nullable=False),
        sa.Column("minutes_used", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["supersedes_id"], ["plan.id"], name="fk_plan_supersedes_id"),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_plan_visit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_plan"),
        sa.UniqueConstraint("supersedes_id", name="uq_plan_supersedes_id"),
    )
    op.create_index("ix_plan_visit_id", "plan", ["visit_id"], unique=False)
    op.create_index(
        "uq_plan_first",
        "plan",
        ["visit_id"],
        unique=True,
        sqlite_where=sa.text("supersedes_id IS NULL"),
        postgresql_where=sa.text("supersedes_id IS NULL"),
    )
    op.create_table(
        "plan_reference",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("division", sa.Text(), nullable=False),
        sa.Column("shift_cents", sa.Float(), nullable=False),
        sa.Column("air_celsius", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["plan_id"], ["plan.id"], name="fk_plan_reference_plan_id"),
        sa.PrimaryKeyConstraint("id", name="pk_plan_reference"),
        sa.UniqueConstraint("plan_id", "position", name="uq_plan_reference_plan_id_position"),
    )
    op.create_table(
        "plan_item",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("order", sa.Integer(), nullable=False),
        sa.Column("rank", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("cents", sa.Float(), nullable=False),
        sa.Column("target_hz", sa.Float(), nullable=False),
        sa.Column("move", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Float(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["plan_id"], ["plan.id"], name="fk_plan_item_plan_id"),
        sa.PrimaryKeyConstraint("id", name="pk_plan_item"),
        sa.UniqueConstraint("plan_id", "position", name="uq_plan_item_plan_id_position"),
    )
    op.create_table(
        "plan_curve",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.Float(), nullable=False),
        sa.Column("cost", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["plan_id"], ["plan.id"], name="fk_plan_curve_plan_id"),
        sa.PrimaryKeyConstraint("id", name="pk_plan_curve"),
        sa.UniqueConstraint("plan_id", "position", name="uq_plan_curve_plan_id_position"),
    )
    op.create_table(
        "tick",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("rank", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("received_at", sa.Text(), nullable=False),
        sa.CheckConstraint("state IN ('done', 'skipped', 'open')", name="ck_tick_state"),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_tick_visit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_tick"),
        sa.UniqueConstraint("uid", name="uq_tick_uid"),
    )
    op.create_index("ix_tick_visit_id", "tick", ["visit_id"], unique=False)


def _faults() -> None:
    op.create_table(
        "fault",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.Text(), nullable=True),
        sa.Column("organ_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("reported_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["organ_id"], ["organ.id"], name="fk_fault_organ_id"),
        sa.PrimaryKeyConstraint("id", name="pk_fault"),
        sa.UniqueConstraint("uid", name="uq_fault_uid"),
    )
    op.create_index("ix_fault_organ_id", "fault", ["organ_id"], unique=False)
    op.create_table(
        "fault_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fault_id", sa.Integer(), nullable=False),
        sa.Column("stop", sa.Text(), nullable=True),
        sa.Column("key", sa.Text(), nullable=True),
        sa.Column("rank", sa.Text(), nullable=True),
        sa.Column("number", sa.Integer(), nullable=True),
        sa.Column("linked_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["fault_id"], ["fault.id"], name="fk_fault_link_fault_id"),
        sa.PrimaryKeyConstraint("id", name="pk_fault_link"),
    )
    op.create_index("ix_fault_link_fault_id", "fault_link", ["fault_id"], unique=False)
    op.create_table(
        "fault_mending",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fault_id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("mended_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["fault_id"], ["fault.id"], name="fk_fault_mending_fault_id"),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_fault_mending_visit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_fault_mending"),
        sa.UniqueConstraint("fault_id", name="uq_fault_mending_fault_id"),
    )
    op.create_index("ix_fault_mending_visit_id", "fault_mending", ["visit_id"], unique=False)
