"""Count the fleet's lines for the filters from an index: every page asks, and sorting them all took most of it.

Revision ID: a41d86f3e720
Revises: 9d3b71e0c4a6
Create Date: 2026-11-25 22:51:12.508213
"""

from __future__ import annotations

from collections.abc import Sequence

from alembic import op

revision: str = "a41d86f3e720"
down_revision: str | None = "9d3b71e0c4a6"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

COUNTED = ["site_id", "status", "foundation", "screw_diameter_mm", "site_day", "data_version"]


def upgrade() -> None:
    with op.batch_alter_table("line_state") as batch_op:
        batch_op.create_index("ix_line_state_counted", COUNTED, unique=False)


def downgrade() -> None:
    with op.batch_alter_table("line_state") as batch_op:
        batch_op.drop_index("ix_line_state_counted")
