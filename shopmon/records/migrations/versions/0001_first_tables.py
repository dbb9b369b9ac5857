"""The first tables.

Frozen: what changes later changes in a later step.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make every table the design names, so that later steps only extend."""
    _streams_and_recordings()
    _contexts()
    _cuts()
    _events_and_the_rest()


def downgrade() -> None:
    """Refuse: the copy that was made before the step is the way back."""
    raise NotImplementedError("migrations go forward only; use the backup made before the step")


def _table(name: str, *columns: sa.Column) -> None:
    indexed = [column for column in columns if column.index]
    for column in indexed:
        column.index = None
    op.create_table(
        name,
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("sequence", sa.Integer, nullable=False),
        sa.Column("boot_id", sa.Text, nullable=False),
        sa.Column("monotonic_s", sa.Float, nullable=False),
        *columns,
    )
    op.create_index(f"ix_{name}_sequence", name, ["sequence"], unique=True)
    for column in indexed:
        op.create_index(f"ix_{name}_{column.name}", name, [column.name])


def _json(name: str, **options) -> sa.Column:
    return sa.Column(name, sa.JSON(none_as_null=True), **options)


def _streams_and_recordings() -> None:
    _table("boots", sa.Column("program_version", sa.Text))
    _table(
        "clock_offsets",
        sa.Column("wall_offset_s", sa.Float, nullable=False),
        sa.Column("origin", sa.Text, nullable=False),
    )
    _table(
        "streams",
        sa.Column("source_id", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("sample_rate_hz", sa.Float, nullable=False),
        sa.Column("channels", sa.Integer, nullable=False),
        sa.Column("code_format", sa.Text, nullable=False),
        sa.Column("end_sample", sa.Integer),
        _json("settings"),
    )
    _table(
        "recordings",
        sa.Column("stream_id", sa.Text, nullable=False, index=True),
        sa.Column("source_id", sa.Text, nullable=False),
        sa.Column("first_sample", sa.Integer, nullable=False),
        sa.Column("end_sample", sa.Integer),
        sa.Column("sample_rate_hz", sa.Float, nullable=False),
        sa.Column("channels", sa.Integer, nullable=False),
        sa.Column("code_format", sa.Text, nullable=False),
        sa.Column("state", sa.Text, nullable=False, index=True),
        sa.Column("path", sa.Text),
        sa.Column("features_path", sa.Text),
        sa.Column("audio_bytes", sa.Integer, nullable=False, server_default="0"),
        _json("gaps"),
    )


def _contexts() -> None:
    _table(
        "contexts",
        sa.Column("stream_id", sa.Text),
        sa.Column("sample", sa.Integer),
        sa.Column("machine", sa.Text),
        sa.Column("tool_assembly", sa.Text),
        sa.Column("end_mill", sa.Text),
        sa.Column("holder", sa.Text),
        sa.Column("stickout_mm", sa.Float),
        sa.Column("material", sa.Text),
        sa.Column("part", sa.Text),
        sa.Column("operation", sa.Text),
        sa.Column("nominal_rpm", sa.Float),
        sa.Column("flutes", sa.Integer),
        sa.Column("ap_mm", sa.Float),
        sa.Column("ae_mm", sa.Float),
        sa.Column("feed_mm_min", sa.Float),
        sa.Column("milling", sa.Text),
        sa.Column("coolant", sa.Text),
        sa.Column("program_section", sa.Text),
        _json("other"),
        _json("origins"),
    )


def _cuts() -> None:
    _table(
        "cuts",
        sa.Column("stream_id", sa.Text, nullable=False, index=True),
        sa.Column("recording_id", sa.Text, sa.ForeignKey("recordings.id"), index=True),
        sa.Column("context_id", sa.Text, sa.ForeignKey("contexts.id")),
        sa.Column("start_monotonic_s", sa.Float, nullable=False),
        sa.Column("first_sample", sa.Integer, nullable=False),
        sa.Column("end_sample", sa.Integer, nullable=False),
        _json("engaged", nullable=False),
        _json("chatter", nullable=False),
        sa.Column("ended", sa.Boolean, nullable=False),
        sa.Column("recovered", sa.Boolean, nullable=False),
        sa.Column("keep", sa.Boolean, nullable=False),
    )
    _table(
        "analyses",
        sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), nullable=False, index=True),
        sa.Column("original", sa.Boolean, nullable=False),
        sa.Column("engine_version", sa.Text, nullable=False),
        sa.Column("settings_hash", sa.Text, nullable=False),
        _json("result", nullable=False),
    )
    _table(
        "judgements",
        sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), nullable=False, index=True),
        sa.Column("verdict", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        _json("data"),
    )
    _table(
        "corrections",
        sa.Column("table_name", sa.Text, nullable=False),
        sa.Column("row_id", sa.Text, nullable=False, index=True),
        sa.Column("field", sa.Text, nullable=False),
        _json("value"),
        sa.Column("note", sa.Text, nullable=False),
    )


def _events_and_the_rest() -> None:
    _table(
        "events",
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("stream_id", sa.Text),
        sa.Column("sample", sa.Integer),
        sa.Column("cut_id", sa.Text, index=True),
        _json("data"),
    )
    _table(
        "marks",
        sa.Column("stream_id", sa.Text, nullable=False, index=True),
        sa.Column("sample", sa.Integer, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    )
    _table(
        "kept_spans",
        sa.Column("stream_id", sa.Text, nullable=False),
        sa.Column("recording_id", sa.Text, sa.ForeignKey("recordings.id"), index=True),
        sa.Column("start_monotonic_s", sa.Float, nullable=False),
        sa.Column("first_sample", sa.Integer, nullable=False),
        sa.Column("end_sample", sa.Integer, nullable=False),
        sa.Column("keep", sa.Boolean, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    )
    _table(
        "paired_devices",
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("token_hash", sa.Text, nullable=False, unique=True),
        sa.Column("scope", sa.Text, nullable=False),
    )
    _table(
        "stored_values",
        sa.Column("key", sa.Text, nullable=False, index=True),
        _json("value"),
        sa.Column("origin", sa.Text, nullable=False),
    )
    _table(
        "listener_states",
        sa.Column("source_id", sa.Text, nullable=False, unique=True),
        sa.Column("stream_id", sa.Text, nullable=False),
        sa.Column("sample", sa.Integer, nullable=False),
        _json("state"),
    )
