"""Keep what a line's status stands on.

Revision ID: b3e94d0c5a18
Revises: 8a2f6c91d704
Create Date: 2026-11-25 18:01:40.118204
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "b3e94d0c5a18"
down_revision: str | None = "8a2f6c91d704"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

COMMENT = "JSON: what stands behind the status of the worst series"


def upgrade() -> None:
    # Derived rows are made anew where there are none; those of before would lack their evidence until the next day.
    op.execute("delete from line_state")
    with op.batch_alter_table("line_state") as batch_op:
        batch_op.add_column(sa.Column("evidence", sa.Text(), nullable=True, comment=COMMENT))


def downgrade() -> None:
    with op.batch_alter_table("line_state") as batch_op:
        batch_op.drop_column("evidence")
