"""Keep what people decide on proposals.

A change of a line's drift that nobody recorded is worked out at any time; only the answer of a person is a fact.

Revision ID: e7402b9fd651
Revises: b3e94d0c5a18
Create Date: 2026-11-25 18:09:27.514083
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "e7402b9fd651"
down_revision: str | None = "b3e94d0c5a18"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.create_table(
        "proposal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True, comment="none: the whole line"),
        sa.Column("axis", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("after_session_id", sa.Integer(), nullable=False, comment="the visit after which it begins"),
        sa.Column(
            "evidence", sa.Double(), nullable=False, comment="natural log of the Bayes factor when it was decided"
        ),
        sa.Column("said", sa.Text(), nullable=False, comment="what the person was told"),
        sa.Column("decision", sa.Text(), nullable=False),
        sa.Column("decided_by", sa.Text(), nullable=False),
        sa.Column("decided_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("event_id", sa.Integer(), nullable=True, comment="what accepting it recorded"),
        sa.CheckConstraint("axis in ('v', 'h')", name=op.f("ck_proposal_axis_known")),
        sa.CheckConstraint("kind in ('regime_change')", name=op.f("ck_proposal_kind_known")),
        sa.CheckConstraint("decision in ('accepted', 'refused')", name=op.f("ck_proposal_decision_known")),
        sa.CheckConstraint("length(trim(why)) > 0", name=op.f("ck_proposal_why_given")),
        sa.CheckConstraint(
            "(decision = 'accepted') = (event_id is not null)", name=op.f("ck_proposal_accepted_made_an_event")
        ),
        sa.ForeignKeyConstraint(
            ["after_session_id"], ["session.id"], name=op.f("fk_proposal_after_session_id_session")
        ),
        sa.ForeignKeyConstraint(["event_id"], ["event.id"], name=op.f("fk_proposal_event_id_event")),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_proposal_line_id_line")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_proposal_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_proposal")),
    )
    with op.batch_alter_table("proposal") as batch_op:
        batch_op.create_index(batch_op.f("ix_proposal_line_id_axis"), ["line_id", "axis"], unique=False)


def downgrade() -> None:
    op.drop_table("proposal")
