"""Tap tests of tool assemblies, and checks of the spindle.

Frozen: what changes later changes in a later step.
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the two tables."""
    stamps = ("id", "sequence", "boot_id", "monotonic_s")
    kinds = (sa.Text, sa.Integer, sa.Text, sa.Float)
    for name, own in (("tap_tests", _of_taps()), ("spindle_checks", _of_checks())):
        stamped = [
            sa.Column(column, kind, primary_key=column == "id", nullable=False)
            for column, kind in zip(stamps, kinds, strict=True)
        ]
        op.create_table(name, *stamped, *own)
        op.create_index(f"ix_{name}_sequence", name, ["sequence"], unique=True)
    op.create_index("ix_tap_tests_key", "tap_tests", ["key"])
    op.create_index("ix_spindle_checks_machine", "spindle_checks", ["machine"])


def _of_taps() -> list[sa.Column]:
    return [
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("context", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("axis", sa.Text, nullable=False),
        sa.Column("with_force", sa.Boolean, nullable=False),
        sa.Column("result", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("curves", sa.JSON(none_as_null=True)),
        sa.Column("note", sa.Text, nullable=False),
    ]


def _of_checks() -> list[sa.Column]:
    return [
        sa.Column("machine", sa.Text, nullable=False),
        sa.Column("sensor", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("temperature_c", sa.Float),
        sa.Column("running_min", sa.Float),
        sa.Column("warmed_up", sa.Boolean, nullable=False),
        sa.Column("result", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    ]


def downgrade() -> None:
    """Refuse: the copy that was made before the step is the way back."""
    raise NotImplementedError("migrations go forward only; use the backup made before the step")
