"""How each cut sounded while it was steady and quiet, and blind trials as they were drawn.

Frozen: what changes later changes in a later step.
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make both tables."""
    op.create_table(
        "steady_sounds",
        *_stamp(),
        sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), nullable=False),
        sa.Column("rpm", sa.Float, nullable=False),
        sa.Column("duration_s", sa.Float, nullable=False),
        sa.Column("flutes", sa.Integer),
        sa.Column("lines_db", sa.JSON(none_as_null=True), nullable=False),
    )
    op.create_index("ix_steady_sounds_sequence", "steady_sounds", ["sequence"], unique=True)
    op.create_index("ix_steady_sounds_cut_id", "steady_sounds", ["cut_id"])
    op.create_table(
        "blind_trials",
        *_stamp(),
        sa.Column("seed", sa.Integer, nullable=False),
        sa.Column("tool_ids", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("parts", sa.Integer, nullable=False),
        sa.Column("material", sa.Text),
        sa.Column("operation", sa.Text),
        sa.Column("note", sa.Text, nullable=False, server_default=""),
    )
    op.create_index("ix_blind_trials_sequence", "blind_trials", ["sequence"], unique=True)


def _stamp() -> tuple[sa.Column, ...]:
    return (
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("sequence", sa.Integer, nullable=False),
        sa.Column("boot_id", sa.Text, nullable=False),
        sa.Column("monotonic_s", sa.Float, nullable=False),
    )


def downgrade() -> None:
    """Refuse: the copy that was made before the step is the way back."""
    raise NotImplementedError("migrations go forward only; use the backup made before the step")
