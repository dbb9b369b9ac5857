"""The tables, as they are now; the migrations say how they came to be.

Every row has a random id, the boot it was made in, the monotonic time within that boot, and a sequence number
that orders rows of all tables. Wall time is never stored with a row: it follows from the boot's clock offset,
which may become known later. All sample numbers count frames of the stream; an end is one past the last
frame.
"""

import sqlalchemy as sa

metadata = sa.MetaData()


def _table(name: str, *columns: sa.Column) -> sa.Table:
    return sa.Table(
        name,
        metadata,
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("sequence", sa.Integer, nullable=False),
        sa.Column("boot_id", sa.Text, nullable=False),
        sa.Column("monotonic_s", sa.Float, nullable=False),
        *columns,
        sa.Index(f"ix_{name}_sequence", "sequence", unique=True),
    )


def _json(name: str, **options) -> sa.Column:
    return sa.Column(name, sa.JSON(none_as_null=True), **options)


boots = _table("boots", sa.Column("program_version", sa.Text))

clock_offsets = _table(
    "clock_offsets",
    sa.Column("wall_offset_s", sa.Float, nullable=False),
    sa.Column("origin", sa.Text, nullable=False),
)

streams = _table(
    "streams",
    sa.Column("source_id", sa.Text, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("sample_rate_hz", sa.Float, nullable=False),
    sa.Column("channels", sa.Integer, nullable=False),
    sa.Column("code_format", sa.Text, nullable=False),
    sa.Column("end_sample", sa.Integer),
    _json("settings"),
)

recordings = _table(
    "recordings",
    sa.Column("stream_id", sa.Text, nullable=False, index=True),
    sa.Column("source_id", sa.Text, nullable=False),
    sa.Column("first_sample", sa.Integer, nullable=False),
    sa.Column("end_sample", sa.Integer),
    sa.Column("sample_rate_hz", sa.Float, nullable=False),
    sa.Column("channels", sa.Integer, nullable=False),
    sa.Column("code_format", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False, index=True),  # open, closing, filed, figures-only, removed
    sa.Column("path", sa.Text),  # relative to the data folder
    sa.Column("features_path", sa.Text),
    sa.Column("audio_bytes", sa.Integer, nullable=False, server_default="0"),
    _json("gaps"),  # [[first, end], …] in frames of the recording: silence that stands for lost samples
)

contexts = _table(
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
    sa.Column("milling", sa.Text),  # climb, conventional, slot
    sa.Column("coolant", sa.Text),
    sa.Column("program_section", sa.Text),
    _json("other"),  # values that have no column yet
    _json("origins"),  # {name: touched | program | macro | guessed}
)

CONTEXT_VALUES = tuple(
    column.name
    for column in contexts.columns
    if column.name
    not in {"id", "sequence", "boot_id", "monotonic_s", "stream_id", "sample", "other", "origins"}
)

cuts = _table(
    "cuts",
    sa.Column("stream_id", sa.Text, nullable=False, index=True),
    sa.Column("recording_id", sa.Text, sa.ForeignKey("recordings.id"), index=True),
    sa.Column("context_id", sa.Text, sa.ForeignKey("contexts.id")),
    sa.Column("start_monotonic_s", sa.Float, nullable=False),
    sa.Column("first_sample", sa.Integer, nullable=False),
    sa.Column("end_sample", sa.Integer, nullable=False),
    _json("engaged", nullable=False),  # [[first, end], …] in samples of the stream
    _json("chatter", nullable=False),
    sa.Column("ended", sa.Boolean, nullable=False),
    sa.Column("recovered", sa.Boolean, nullable=False),
    sa.Column("keep", sa.Boolean, nullable=False),
)

analyses = _table(
    "analyses",
    sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), nullable=False, index=True),
    sa.Column("original", sa.Boolean, nullable=False),
    sa.Column("engine_version", sa.Text, nullable=False),
    sa.Column("settings_hash", sa.Text, nullable=False),
    _json("result", nullable=False),
)

judgements = _table(
    "judgements",
    sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), nullable=False, index=True),
    sa.Column("verdict", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    _json("data"),
)

corrections = _table(
    "corrections",
    sa.Column("table_name", sa.Text, nullable=False),
    sa.Column("row_id", sa.Text, nullable=False, index=True),
    sa.Column("field", sa.Text, nullable=False),
    _json("value"),
    sa.Column("note", sa.Text, nullable=False),
)

events = _table(
    "events",
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("stream_id", sa.Text),
    sa.Column("sample", sa.Integer),
    sa.Column("cut_id", sa.Text, index=True),
    _json("data"),
)

marks = _table(
    "marks",
    sa.Column("stream_id", sa.Text, nullable=False, index=True),
    sa.Column("sample", sa.Integer, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
)

kept_spans = _table(
    "kept_spans",
    sa.Column("stream_id", sa.Text, nullable=False),
    sa.Column("recording_id", sa.Text, sa.ForeignKey("recordings.id"), index=True),
    sa.Column("start_monotonic_s", sa.Float, nullable=False),
    sa.Column("first_sample", sa.Integer, nullable=False),
    sa.Column("end_sample", sa.Integer, nullable=False),
    sa.Column("keep", sa.Boolean, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
)

paired_devices = _table(
    "paired_devices",
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("token_hash", sa.Text, nullable=False, unique=True),
    sa.Column("scope", sa.Text, nullable=False),
)

stored_values = _table(  # what is measured or changed on a page; the newest row of a key counts
    "stored_values",
    sa.Column("key", sa.Text, nullable=False, index=True),
    _json("value"),
    sa.Column("origin", sa.Text, nullable=False),
)

listener_states = (
    _table(  # the newest state per source, so that a restart need not learn the background again
        "listener_states",
        sa.Column("source_id", sa.Text, nullable=False, unique=True),
        sa.Column("stream_id", sa.Text, nullable=False),
        sa.Column("sample", sa.Integer, nullable=False),
        _json("state"),
    )
)
