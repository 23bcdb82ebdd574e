"""Keep what carries a survey's uncertainty, its target and wander, and the slips noticed in it.

Revision ID: 8a2f6c91d704
Revises: 5d1c0a7e3b42
Create Date: 2026-11-25 16:02:11.305127
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "8a2f6c91d704"
down_revision: str | None = "5d1c0a7e3b42"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

COMMENTS = {
    "budget": "JSON: standard uncertainty by cause and station [um], and what would halve it",
    "common": "JSON: target zero and wander with their standard uncertainties [um]",
    "checks": "JSON: slips noticed from the readings alone",
}


def upgrade() -> None:
    with op.batch_alter_table("reduction") as batch_op:
        for name, comment in COMMENTS.items():
            batch_op.add_column(sa.Column(name, sa.Text(), nullable=True, comment=comment))


def downgrade() -> None:
    with op.batch_alter_table("reduction") as batch_op:
        for name in reversed(COMMENTS):
            batch_op.drop_column(name)
