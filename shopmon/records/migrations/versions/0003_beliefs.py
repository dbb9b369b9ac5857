"""What was learned of each tool assembly from its cuts.

Frozen: what changes later changes in a later step.
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of beliefs."""
    op.create_table(
        "beliefs",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("sequence", sa.Integer, nullable=False),
        sa.Column("boot_id", sa.Text, nullable=False),
        sa.Column("monotonic_s", sa.Float, nullable=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("context", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("learner", sa.Text, nullable=False),
        sa.Column("prior", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("trials", sa.JSON(none_as_null=True)),
        sa.Column("summary", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("state", sa.JSON(none_as_null=True)),
    )
    op.create_index("ix_beliefs_sequence", "beliefs", ["sequence"], unique=True)
    op.create_index("ix_beliefs_key", "beliefs", ["key"])


def downgrade() -> None:
    """Refuse: the copy that was made before the step is the way back."""
    raise NotImplementedError("migrations go forward only; use the backup made before the step")
