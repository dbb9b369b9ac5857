"""The tables, as they are now; the migrations say how they came to be.

Every row has a random id, the boot it was made in, the monotonic time within that boot, and a sequence number
that orders rows of all tables. Wall time is never stored with a row: it follows from the boot's clock offset,
which may become known later. All sample numbers count frames of the stream; an end is one past the last
frame.
"""

import sqlalchemy as sa

metadata = sa.MetaData()


def stamped_table(name: str, *columns: sa.Column) -> sa.Table:
    """Add a table whose rows carry id, sequence, boot and monotonic time."""
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


def json_column(name: str, **options) -> sa.Column:
    """Make a column of JSON, in which None is NULL."""
    return sa.Column(name, sa.JSON(none_as_null=True), **options)


boots = stamped_table("boots", sa.Column("program_version", sa.Text))

clock_offsets = stamped_table(
    "clock_offsets",
    sa.Column("wall_offset_s", sa.Float, nullable=False),
    sa.Column("origin", sa.Text, nullable=False),
)

streams = stamped_table(
    "streams",
    sa.Column("source_id", sa.Text, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("sample_rate_hz", sa.Float, nullable=False),
    sa.Column("channels", sa.Integer, nullable=False),
    sa.Column("code_format", sa.Text, nullable=False),
    sa.Column("end_sample", sa.Integer),
    json_column("settings"),
)

recordings = stamped_table(
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
    json_column("gaps"),  # [[first, end], …] in frames of the recording: silence that stands for lost samples
)

contexts = stamped_table(
    "contexts",
    sa.Column("stream_id", sa.Text),
    sa.Column("sample", sa.Integer),
    sa.Column("machine", sa.Text),
    sa.Column("tool_assembly", sa.Text),
    sa.Column("end_mill", sa.Text),  # as it was said: a label
    sa.Column("end_mill_id", sa.Text),  # the tool of the register it was taken for
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
    json_column("other"),  # values that have no column yet
    json_column("origins"),  # {name: touched | program | macro | guessed}
    sa.Index("ix_contexts_end_mill_id", "end_mill_id", "sequence"),
)

CONTEXT_VALUES = tuple(
    column.name
    for column in contexts.columns
    if column.name
    not in {"id", "sequence", "boot_id", "monotonic_s", "stream_id", "sample", "other", "origins"}
)

cuts = stamped_table(
    "cuts",
    sa.Column("stream_id", sa.Text, nullable=False, index=True),
    sa.Column("recording_id", sa.Text, sa.ForeignKey("recordings.id"), index=True),
    sa.Column("context_id", sa.Text, sa.ForeignKey("contexts.id")),
    sa.Column("start_monotonic_s", sa.Float, nullable=False),
    sa.Column("first_sample", sa.Integer, nullable=False),
    sa.Column("end_sample", sa.Integer, nullable=False),
    json_column("engaged", nullable=False),  # [[first, end], …] in samples of the stream
    json_column("chatter", nullable=False),
    sa.Column("engaged_samples", sa.Integer, nullable=False, server_default="0"),  # sums over the two above
    sa.Column("chatter_samples", sa.Integer, nullable=False, server_default="0"),
    sa.Column("entries", sa.Integer, nullable=False, server_default="0"),
    sa.Column("ended", sa.Boolean, nullable=False),
    sa.Column("recovered", sa.Boolean, nullable=False),
    sa.Column("keep", sa.Boolean, nullable=False),
    sa.Column("heard_rpm", sa.Float, index=True),  # as the original analysis has it
    sa.Index("ix_cuts_start", "boot_id", "start_monotonic_s", "id"),
    sa.Index(  # totals are added up without a look at the rows, whose lists are long
        "ix_cuts_sums",
        *("context_id", "stream_id", "sequence", "engaged_samples", "chatter_samples", "entries", "id"),
    ),
)

analyses = stamped_table(
    "analyses",
    sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), nullable=False, index=True),
    sa.Column("original", sa.Boolean, nullable=False),
    sa.Column("engine_version", sa.Text, nullable=False),
    sa.Column("settings_hash", sa.Text, nullable=False),
    json_column("result", nullable=False),
)

steady_sounds = stamped_table(  # the part of a cut's original analysis that the register asks for
    "steady_sounds",
    sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), nullable=False, index=True),
    sa.Column("rpm", sa.Float, nullable=False),
    sa.Column("duration_s", sa.Float, nullable=False),
    sa.Column("flutes", sa.Integer),
    json_column("lines_db", nullable=False),  # per multiple of the rotation; null where none stood out
)

judgements = stamped_table(
    "judgements",
    sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), nullable=False, index=True),
    sa.Column("verdict", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    json_column("data"),
)

corrections = stamped_table(
    "corrections",
    sa.Column("table_name", sa.Text, nullable=False),
    sa.Column("row_id", sa.Text, nullable=False, index=True),
    sa.Column("field", sa.Text, nullable=False),
    json_column("value"),
    sa.Column("note", sa.Text, nullable=False),
    sa.Index("ix_corrections_newest", "table_name", "row_id", "field", "sequence"),
)

events = stamped_table(
    "events",
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("stream_id", sa.Text),
    sa.Column("sample", sa.Integer),
    sa.Column("cut_id", sa.Text, index=True),
    json_column("data"),
)

marks = stamped_table(
    "marks",
    sa.Column("stream_id", sa.Text, nullable=False, index=True),
    sa.Column("sample", sa.Integer, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
)

kept_spans = stamped_table(
    "kept_spans",
    sa.Column("stream_id", sa.Text, nullable=False),
    sa.Column("recording_id", sa.Text, sa.ForeignKey("recordings.id"), index=True),
    sa.Column("start_monotonic_s", sa.Float, nullable=False),
    sa.Column("first_sample", sa.Integer, nullable=False),
    sa.Column("end_sample", sa.Integer, nullable=False),
    sa.Column("keep", sa.Boolean, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
)

paired_devices = stamped_table(
    "paired_devices",
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("token_hash", sa.Text, nullable=False, unique=True),
    sa.Column("scope", sa.Text, nullable=False),
)

stored_values = stamped_table(  # what is measured or changed on a page; the newest row of a key counts
    "stored_values",
    sa.Column("key", sa.Text, nullable=False, index=True),
    json_column("value"),
    sa.Column("origin", sa.Text, nullable=False),
)

listener_states = (
    stamped_table(  # the newest state per source, so that a restart need not learn the background again
        "listener_states",
        sa.Column("source_id", sa.Text, nullable=False, unique=True),
        sa.Column("stream_id", sa.Text, nullable=False),
        sa.Column("sample", sa.Integer, nullable=False),
        json_column("state"),
    )
)

beliefs = stamped_table(  # what was learned of a tool assembly on a machine in a material; newest row counts
    "beliefs",
    sa.Column("key", sa.Text, nullable=False, index=True),
    json_column("context", nullable=False),  # what the key stands for
    sa.Column("learner", sa.Text, nullable=False),  # another version learns anew from the cuts
    json_column("prior", nullable=False),  # what it began from
    json_column("trials"),  # [[cut, place in it, what was taken from it], …] that it has learned from
    json_column("summary", nullable=False),
    json_column("state"),  # shopmon.belief/1; none any more in old rows
)

tap_tests = stamped_table(
    "tap_tests",
    sa.Column("key", sa.Text, nullable=False, index=True),  # of the tool assembly on its machine
    json_column("context", nullable=False),  # what the key stands for
    sa.Column("axis", sa.Text, nullable=False),
    sa.Column("with_force", sa.Boolean, nullable=False),
    json_column("result", nullable=False),  # shopmon.tap/1
    json_column("curves"),  # what a page draws
    sa.Column("note", sa.Text, nullable=False),
)

spindle_checks = stamped_table(
    "spindle_checks",
    sa.Column("machine", sa.Text, nullable=False, index=True),
    json_column("sensor", nullable=False),  # source, channel, unit: levels compare for one sensor only
    sa.Column("temperature_c", sa.Float),
    sa.Column("running_min", sa.Float),  # since the spindle was started
    sa.Column("warmed_up", sa.Boolean, nullable=False),  # as the machine's builder says
    json_column("result", nullable=False),  # shopmon.spindle-check/1
    sa.Column("note", sa.Text, nullable=False),
)

cut_photos = stamped_table(
    "cut_photos",
    sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), nullable=False, index=True),
    sa.Column("path", sa.Text, nullable=False),  # relative to the data folder
    sa.Column("media_type", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
)

photo_readings = stamped_table(  # what was read from a photograph; the newest counts
    "photo_readings",
    sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), nullable=False, index=True),
    sa.Column("photo_id", sa.Text, nullable=False),
    json_column("question", nullable=False),  # scale, direction, speed, feed … as they were given
    json_column("result", nullable=False),  # shopmon.surface/1
)
