"""Keep visits while they are recorded, and what was settled and seen when they are signed.

What is being typed need not be valid yet, so it is text in tables of its own; what a signer settled and saw hangs
from the session and is frozen with it.

Revision ID: c1f7a90b6d25
Revises: e7402b9fd651
Create Date: 2026-11-25 21:14:05.318220
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "c1f7a90b6d25"
down_revision: str | None = "e7402b9fd651"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.create_table(
        "draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_key", sa.Text(), nullable=False, comment="the device's own key: a retry makes no twin"),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("corrects_id", sa.Integer(), nullable=True),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False, comment="raised by each change"),
        sa.ForeignKeyConstraint(["corrects_id"], ["session.id"], name=op.f("fk_draft_corrects_id_session")),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_draft_line_id_line")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_draft")),
        sa.UniqueConstraint("client_key", name=op.f("uq_draft_client_key")),
    )
    with op.batch_alter_table("draft") as batch_op:
        batch_op.create_index(batch_op.f("ix_draft_line_id"), ["line_id"], unique=False)
    op.create_table(
        "draft_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("field", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("typed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.CheckConstraint("sequence >= 0", name=op.f("ck_draft_entry_sequence_not_negative")),
        sa.ForeignKeyConstraint(
            ["draft_id"], ["draft.id"], name=op.f("fk_draft_entry_draft_id_draft"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_draft_entry")),
        sa.UniqueConstraint("draft_id", "field", name=op.f("uq_draft_entry_draft_id_field")),
    )
    op.create_table(
        "session_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("survey_number", sa.Integer(), nullable=True, comment="none: the whole visit"),
        sa.Column("check", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("settled", sa.Text(), nullable=False),
        sa.Column("accepted_by", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "settled in ('kept', 'corrected', 'read_again')", name=op.f("ck_session_check_settled_known")
        ),
        sa.CheckConstraint("length(trim(why)) > 0", name=op.f("ck_session_check_why_given")),
        sa.ForeignKeyConstraint(["session_id"], ["session.id"], name=op.f("fk_session_check_session_id_session")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_session_check")),
    )
    with op.batch_alter_table("session_check") as batch_op:
        batch_op.create_index(batch_op.f("ix_session_check_session_id"), ["session_id"], unique=False)
    op.create_table(
        "session_signed_view",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("shown", sa.Text(), nullable=False, comment="what the signer saw, as text"),
        sa.ForeignKeyConstraint(["session_id"], ["session.id"], name=op.f("fk_session_signed_view_session_id_session")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_session_signed_view")),
        sa.UniqueConstraint("session_id", name=op.f("uq_session_signed_view_session_id")),
    )


def downgrade() -> None:
    op.drop_table("session_signed_view")
    op.drop_table("session_check")
    op.drop_table("draft_entry")
    op.drop_table("draft")
