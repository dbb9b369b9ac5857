"""The register of tools, and sums per cut that totals can be added up from.

Frozen: what changes later changes in a later step.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of the register and fill the sums of the cuts that are there."""
    _kinds()
    _tools()
    _what_is_known_of_them()
    _cuts_and_contexts()


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
        sa.Column("note", sa.Text, nullable=False, server_default=""),
    )
    op.create_index(f"ix_{name}_sequence", name, ["sequence"], unique=True)
    for column in indexed:
        op.create_index(f"ix_{name}_{column.name}", name, [column.name])


def _text(name: str, **options) -> sa.Column:
    return sa.Column(name, sa.Text, **options)


def _label() -> sa.Column:
    return _text("label", nullable=False)


def _numbers(*names: str) -> list[sa.Column]:
    return [sa.Column(name, sa.Float) for name in names]


def _of(table: str, name: str, **options) -> sa.Column:
    return sa.Column(name, sa.Text, sa.ForeignKey(f"{table}.id"), **options)


def _tool() -> sa.Column:
    return _of("tools", "tool_id", nullable=False, index=True)


def _kinds() -> None:
    _table(
        "mill_types",
        _label(),
        *_numbers("DC", "DMM", "DN", "APMX", "LCF", "LU", "LF", "OAL", "RE", "FHA", "RPMX"),
        sa.Column("NOF", sa.Integer),
        _text("pitch"),
        sa.Column("pitch_deg", sa.JSON(none_as_null=True)),
        _text("substrate"),
        _text("coating"),
        _text("maker"),
        _text("price"),
    )
    _table("holders", _label(), _text("kind"), *_numbers("RPMX"))
    _table("materials", _label(), _text("alloy"), _text("iso_group"))
    _table("parts", _label())
    _table("operations", _label())


def _tools() -> None:
    _table(
        "tools",
        _label(),
        _text("kind", nullable=False),
        _of("mill_types", "type_id", index=True),
        sa.Column("flutes", sa.Integer),
    )
    _table(
        "tool_edges",
        _tool(),
        sa.Column("from_sequence", sa.Integer, nullable=False),
        *_numbers("DC", "LCF"),
        _text("coating"),
    )
    _table(
        "tool_assemblies",
        _tool(),
        _of("holders", "holder_id", index=True),
        *_numbers("stickout_mm", "runout_um"),
    )


def _what_is_known_of_them() -> None:
    _table(
        "tool_retirements",
        _tool(),
        _of("tool_edges", "edge_id", nullable=False),
        _text("reason", nullable=False),
        sa.Column("withdrawn", sa.Boolean, nullable=False, server_default=sa.false()),
    )
    _table(
        "wear_readings",
        _tool(),
        sa.Column("VB_mm", sa.Float, nullable=False),
        _text("spread"),
        _text("operation"),
    )
    _table(
        "wear_limits",
        _of("mill_types", "type_id", index=True),
        _text("operation"),
        sa.Column("VB_mm", sa.Float, nullable=False),
    )
    _table("tool_photos", _tool(), _text("path", nullable=False), _text("media_type", nullable=False))
    _table(
        "finish_readings",
        _of("tools", "tool_id", index=True),
        _of("cuts", "cut_id", index=True),
        _text("part"),
        _text("piece"),
        _text("operation"),
        _text("material"),
        *_numbers("Ra_um", "Rz_um", "Rq_um"),
        _text("standard"),
        sa.Column("grade", sa.Integer),
    )


def _cuts_and_contexts() -> None:
    op.add_column("contexts", sa.Column("end_mill_id", sa.Text))
    op.create_index("ix_contexts_end_mill_id", "contexts", ["end_mill_id", "sequence"])
    op.create_index("ix_corrections_newest", "corrections", ["table_name", "row_id", "field", "sequence"])
    for name in ("engaged_samples", "chatter_samples", "entries"):
        op.add_column("cuts", sa.Column(name, sa.Integer, nullable=False, server_default="0"))
    op.execute(
        """
        UPDATE cuts SET
          entries = json_array_length(engaged),
          engaged_samples = coalesce((
            SELECT sum(json_extract(span.value, '$[1]') - json_extract(span.value, '$[0]'))
            FROM json_each(cuts.engaged) AS span), 0),
          chatter_samples = coalesce((
            SELECT sum(json_extract(span.value, '$.end_sample') - json_extract(span.value, '$.start_sample'))
            FROM json_each(cuts.chatter) AS span), 0)
        """
    )
    sums = ("context_id", "stream_id", "sequence", "engaged_samples", "chatter_samples", "entries", "id")
    op.create_index("ix_cuts_sums", "cuts", list(sums))
