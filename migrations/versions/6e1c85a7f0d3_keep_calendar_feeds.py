"""Keep calendar feeds: addresses with a secret, of which only the hash is kept.

Revision ID: 6e1c85a7f0d3
Revises: 3f6b2d90c8e1
Create Date: 2026-11-30 13:20:11.402115
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "6e1c85a7f0d3"
down_revision: str | None = "3f6b2d90c8e1"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.create_table(
        "calendar_feed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False, comment="whose calendar it is for"),
        sa.Column("site_id", sa.Integer(), nullable=True, comment="none: of all sites"),
        sa.Column("token_sha256", sa.Text(), nullable=False, comment="of the secret in the address"),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_by", sa.Text(), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_calendar_feed_name_given")),
        sa.CheckConstraint("length(token_sha256) = 64", name=op.f("ck_calendar_feed_token_hashed")),
        sa.CheckConstraint("(ended_by is null) = (ended_at is null)", name=op.f("ck_calendar_feed_ended_by_somebody")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_calendar_feed_site_id_site")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calendar_feed")),
        sa.UniqueConstraint("token_sha256", name=op.f("uq_calendar_feed_token_sha256")),
    )


def downgrade() -> None:
    op.drop_table("calendar_feed")
