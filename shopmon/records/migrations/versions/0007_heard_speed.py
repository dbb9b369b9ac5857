"""The speed that was heard, beside each cut, and its start in an index: finding cuts opens no analysis.

Frozen: what changes later changes in a later step.
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column, and fill it from the original analyses."""
    op.add_column("cuts", sa.Column("heard_rpm", sa.Float))
    op.execute(
        "UPDATE cuts SET heard_rpm = (SELECT json_extract(result, '$.spindle.rpm') FROM analyses"
        " WHERE analyses.cut_id = cuts.id AND original ORDER BY sequence LIMIT 1)"
    )
    op.create_index("ix_cuts_heard_rpm", "cuts", ["heard_rpm"])
    op.create_index("ix_cuts_start", "cuts", ["boot_id", "start_monotonic_s", "id"])


def downgrade() -> None:
    """Refuse: the copy that was made before the step is the way back."""
    raise NotImplementedError("migrations go forward only; use the backup made before the step")
