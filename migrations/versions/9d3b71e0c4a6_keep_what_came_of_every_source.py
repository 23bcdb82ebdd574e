"""Keep what came of every source: refused ones and those that held nothing new stand in the list too.

Rows of before were all taken; what they held is in the audit.

Revision ID: 9d3b71e0c4a6
Revises: c1f7a90b6d25
Create Date: 2026-11-25 21:27:40.114902
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "9d3b71e0c4a6"
down_revision: str | None = "c1f7a90b6d25"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

TOLD = "JSON: rows by file and lines of what was taken; the first problems of what was not"


def upgrade() -> None:
    with op.batch_alter_table("intake") as batch_op:
        batch_op.add_column(sa.Column("result", sa.Text(), server_default="taken", nullable=False))
        batch_op.add_column(sa.Column("container", sa.Text(), nullable=True, comment="none: not known, or not a file"))
        batch_op.add_column(sa.Column("files", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("rows_read", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("told", sa.Text(), server_default="{}", nullable=False, comment=TOLD))
        batch_op.create_check_constraint(
            batch_op.f("ck_intake_result_known"), "result in ('taken', 'refused', 'nothing_new')"
        )
        batch_op.create_check_constraint(batch_op.f("ck_intake_container_known"), "container in ('folder', 'workbook')")
        batch_op.create_check_constraint(batch_op.f("ck_intake_files_not_negative"), "files >= 0")
        batch_op.create_check_constraint(batch_op.f("ck_intake_rows_read_not_negative"), "rows_read >= 0")
        batch_op.create_index(batch_op.f("ix_intake_taken_at"), ["taken_at"], unique=False)


def downgrade() -> None:
    # A list that knows only what was taken would call the others taken with no rows; the audit still tells of them.
    op.execute("delete from intake where result <> 'taken'")
    with op.batch_alter_table("intake") as batch_op:
        batch_op.drop_index(batch_op.f("ix_intake_taken_at"))
        for name in ("rows_read_not_negative", "files_not_negative", "container_known", "result_known"):
            batch_op.drop_constraint(batch_op.f(f"ck_intake_{name}"), type_="check")
        for name in ("told", "rows_read", "files", "container", "result"):
            batch_op.drop_column(name)
