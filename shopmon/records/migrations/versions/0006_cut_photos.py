"""Photographs of what was cut, and what was read from them.

Frozen: what changes later changes in a later step.
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the two tables."""
    photo = [sa.Column(name, sa.Text, nullable=False) for name in ("path", "media_type", "note")]
    reading = [
        sa.Column("photo_id", sa.Text, nullable=False),
        sa.Column("question", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("result", sa.JSON(none_as_null=True), nullable=False),
    ]
    stamps = (("id", sa.Text), ("sequence", sa.Integer), ("boot_id", sa.Text), ("monotonic_s", sa.Float))
    for name, own in (("cut_photos", photo), ("photo_readings", reading)):
        stamped = [
            sa.Column(column, kind, primary_key=column == "id", nullable=False) for column, kind in stamps
        ]
        op.create_table(
            name, *stamped, sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), nullable=False), *own
        )
        op.create_index(f"ix_{name}_sequence", name, ["sequence"], unique=True)
        op.create_index(f"ix_{name}_cut_id", name, ["cut_id"])


def downgrade() -> None:
    """Refuse: the copy that was made before the step is the way back."""
    raise NotImplementedError("migrations go forward only; use the backup made before the step")
