"""Keep plans: which line goes into which outage, what that rests on, and who signed it off.

A plan is worked out anew at any time; what somebody saved or signed has to stand as it was then, so it is kept with the
outages, chances and hours of that day.

Revision ID: 3f6b2d90c8e1
Revises: a41d86f3e720
Create Date: 2026-11-30 12:05:41.730912
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "3f6b2d90c8e1"
down_revision: str | None = "a41d86f3e720"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.create_table(
        "plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=64), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=True, comment="none: of all sites"),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("end_on", sa.Date(), nullable=False),
        sa.Column("cap", sa.Double(), nullable=False),
        sa.Column("cap_asked", sa.Boolean(), nullable=False, comment="asked for, else the setting"),
        sa.Column("ahead_months", sa.Integer(), nullable=False),
        sa.Column("data_version", sa.Integer(), nullable=False, comment="of the facts it was worked out from"),
        sa.Column("days_over", sa.Double(), nullable=False),
        sa.Column("days_if_none", sa.Double(), nullable=False, comment="with no visit but the pinned ones"),
        sa.Column("weighted_days_over", sa.Double(), nullable=False),
        sa.Column("cost_days", sa.Double(), nullable=False),
        sa.Column("over_cap", sa.Integer(), nullable=False),
        sa.Column("over_cap_bound", sa.Integer(), nullable=False, comment="fewest possible as far as is proved"),
        sa.Column(
            "bound", sa.Double(), nullable=False, comment="least sum possible as far as is proved, weighted days"
        ),
        sa.Column("gap", sa.Double(), nullable=False),
        sa.Column("seconds", sa.Double(), nullable=False, comment="time the solver was given"),
        sa.Column("solved_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("dropped", sa.Text(), nullable=False, comment="pins that could not be kept, a sentence a line"),
        sa.Column("lines_in_store", sa.Integer(), nullable=False),
        sa.Column("outages_in_store", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), server_default="saved", nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signed_by", sa.Text(), nullable=True),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column(
            "version", sa.Integer(), server_default="1", nullable=False, comment="raised by save, sign and reopen"
        ),
        sa.CheckConstraint(
            "(state = 'signed_off') = (signed_by is not null) and (signed_by is null) = (signed_at is null)",
            name=op.f("ck_plan_signed_off_by_somebody"),
        ),
        sa.CheckConstraint("state in ('saved', 'signed_off')", name=op.f("ck_plan_state_known")),
        sa.CheckConstraint("ahead_months >= 0", name=op.f("ck_plan_ahead_months_not_negative")),
        sa.CheckConstraint("cap between 0 and 1", name=op.f("ck_plan_cap_in_bounds")),
        sa.CheckConstraint("cost_days >= 0", name=op.f("ck_plan_cost_days_not_negative")),
        sa.CheckConstraint("data_version >= 0", name=op.f("ck_plan_data_version_not_negative")),
        sa.CheckConstraint("days_if_none >= 0", name=op.f("ck_plan_days_if_none_not_negative")),
        sa.CheckConstraint("days_over >= 0", name=op.f("ck_plan_days_over_not_negative")),
        sa.CheckConstraint("end_on >= as_of", name=op.f("ck_plan_ends_after_as_of")),
        sa.CheckConstraint("gap between 0 and 1", name=op.f("ck_plan_gap_in_bounds")),
        sa.CheckConstraint("length(trim(code)) > 0", name=op.f("ck_plan_code_given")),
        sa.CheckConstraint("lines_in_store >= 0", name=op.f("ck_plan_lines_in_store_not_negative")),
        sa.CheckConstraint("outages_in_store >= 0", name=op.f("ck_plan_outages_in_store_not_negative")),
        sa.CheckConstraint("over_cap >= 0", name=op.f("ck_plan_over_cap_not_negative")),
        sa.CheckConstraint("over_cap_bound >= 0", name=op.f("ck_plan_over_cap_bound_not_negative")),
        sa.CheckConstraint("seconds >= 0", name=op.f("ck_plan_seconds_not_negative")),
        sa.CheckConstraint("version >= 1", name=op.f("ck_plan_version_counts")),
        sa.CheckConstraint("weighted_days_over >= 0", name=op.f("ck_plan_weighted_days_over_not_negative")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_plan_site_id_site")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan")),
        sa.UniqueConstraint("code", name=op.f("uq_plan_code")),
    )
    with op.batch_alter_table("plan") as batch_op:
        batch_op.create_index(batch_op.f("ix_plan_made_at"), ["made_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_plan_site_id_made_at"), ["site_id", "made_at"], unique=False)

    op.create_table(
        "plan_item",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=True),
        sa.Column("outage_id", sa.Integer(), nullable=True, comment="none: no visit"),
        sa.Column("pin", sa.Text(), nullable=True),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("station", sa.Text(), nullable=True, comment="the worst one, as it was called then"),
        sa.Column("axis", sa.Text(), nullable=True),
        sa.Column("chance_now", sa.Double(), nullable=True),
        sa.Column("chance_before", sa.Double(), nullable=True),
        sa.Column("chance_if_skipped", sa.Double(), nullable=True),
        sa.Column("over_p10", sa.Date(), nullable=True),
        sa.Column("over_p50", sa.Date(), nullable=True),
        sa.Column("over_p90", sa.Date(), nullable=True),
        sa.Column("weight", sa.Double(), nullable=False),
        sa.Column("visit_hours", sa.Double(), nullable=False),
        sa.Column("hours_from", sa.Text(), nullable=False),
        sa.Column("visit_cost_days", sa.Double(), nullable=False),
        sa.Column("cool_down_h", sa.Double(), nullable=True),
        sa.Column("screw_pull_h", sa.Double(), nullable=True),
        sa.Column("heat_up_h", sa.Double(), nullable=True),
        sa.Column("days_over", sa.Double(), nullable=True),
        sa.Column("days_if_skipped", sa.Double(), nullable=True),
        sa.Column("saves", sa.Double(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("rather_id", sa.Integer(), nullable=True),
        sa.Column("hours_missing", sa.Double(), nullable=False),
        sa.Column("unkept", sa.Text(), nullable=True),
        sa.Column("above_cap", sa.Boolean(), nullable=False),
        sa.Column("needs", sa.Text(), nullable=False, comment="beside people, a phrase a line"),
        sa.CheckConstraint("axis in ('v', 'h')", name=op.f("ck_plan_item_axis_known")),
        sa.CheckConstraint(
            "hours_from in ('recorded', 'own_record', 'fleet_record', 'assumed')",
            name=op.f("ck_plan_item_hours_from_known"),
        ),
        sa.CheckConstraint("pin in ('into', 'out')", name=op.f("ck_plan_item_pin_known")),
        sa.CheckConstraint(
            "pin is null or pin <> 'into' or outage_id is not null", name=op.f("ck_plan_item_pinned_into_an_outage")
        ),
        sa.CheckConstraint(
            "reason in ('pinned_into', 'above_cap_anyway', 'late_for_lack_of_room', 'keeps_cap', 'saves_days',"
            " 'no_forecast', 'pinned_out', 'no_outage_open', 'no_room', 'not_worth_it')",
            name=op.f("ck_plan_item_reason_known"),
        ),
        sa.CheckConstraint(
            "status in ('over', 'due', 'watch', 'within', 'no record')", name=op.f("ck_plan_item_status_known")
        ),
        sa.CheckConstraint(
            "unkept in ('above_now', 'above_before_first', 'no_outage_open', 'pinned_past_it')",
            name=op.f("ck_plan_item_unkept_known"),
        ),
        sa.CheckConstraint("chance_before between 0 and 1", name=op.f("ck_plan_item_chance_before_in_bounds")),
        sa.CheckConstraint("chance_if_skipped between 0 and 1", name=op.f("ck_plan_item_chance_if_skipped_in_bounds")),
        sa.CheckConstraint("chance_now between 0 and 1", name=op.f("ck_plan_item_chance_now_in_bounds")),
        sa.CheckConstraint("cool_down_h >= 0", name=op.f("ck_plan_item_cool_down_h_not_negative")),
        sa.CheckConstraint("days_if_skipped >= 0", name=op.f("ck_plan_item_days_if_skipped_not_negative")),
        sa.CheckConstraint("days_over >= 0", name=op.f("ck_plan_item_days_over_not_negative")),
        sa.CheckConstraint("heat_up_h >= 0", name=op.f("ck_plan_item_heat_up_h_not_negative")),
        sa.CheckConstraint("hours_missing >= 0", name=op.f("ck_plan_item_hours_missing_not_negative")),
        sa.CheckConstraint("position >= 0", name=op.f("ck_plan_item_position_not_negative")),
        sa.CheckConstraint("screw_pull_h >= 0", name=op.f("ck_plan_item_screw_pull_h_not_negative")),
        sa.CheckConstraint("visit_cost_days >= 0", name=op.f("ck_plan_item_visit_cost_days_not_negative")),
        sa.CheckConstraint("visit_hours >= 0", name=op.f("ck_plan_item_visit_hours_not_negative")),
        sa.CheckConstraint("weight >= 0", name=op.f("ck_plan_item_weight_not_negative")),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_plan_item_line_id_line")),
        sa.ForeignKeyConstraint(["outage_id"], ["outage.id"], name=op.f("fk_plan_item_outage_id_outage")),
        sa.ForeignKeyConstraint(["plan_id"], ["plan.id"], name=op.f("fk_plan_item_plan_id_plan")),
        sa.ForeignKeyConstraint(["rather_id"], ["outage.id"], name=op.f("fk_plan_item_rather_id_outage")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_plan_item_site_id_site")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan_item")),
        sa.UniqueConstraint("plan_id", "line_id", name=op.f("uq_plan_item_plan_id_line_id")),
        sa.UniqueConstraint("plan_id", "position", name=op.f("uq_plan_item_plan_id_position")),
    )
    with op.batch_alter_table("plan_item") as batch_op:
        batch_op.create_index(batch_op.f("ix_plan_item_line_id"), ["line_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_plan_item_outage_id"), ["outage_id"], unique=False)

    op.create_table(
        "plan_stop",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("outage_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("site_id", sa.Integer(), nullable=True),
        sa.Column("line_id", sa.Integer(), nullable=True),
        sa.Column("starts_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("whole_days", sa.Boolean(), nullable=False),
        sa.Column("crew_hours", sa.Double(), nullable=True),
        sa.Column("crews", sa.Double(), nullable=True),
        sa.Column("screw_out", sa.Boolean(), nullable=False),
        sa.Column("hours_used", sa.Double(), nullable=False, comment="crew hours the plan takes of it"),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False, comment="what was odd about it, a sentence a line"),
        sa.Column("aside", sa.Text(), nullable=True, comment="why it was not planned into; none: it was considered"),
        sa.CheckConstraint("state in ('planned', 'done', 'cancelled')", name=op.f("ck_plan_stop_state_known")),
        sa.CheckConstraint("crew_hours >= 0", name=op.f("ck_plan_stop_crew_hours_not_negative")),
        sa.CheckConstraint("crews >= 0", name=op.f("ck_plan_stop_crews_not_negative")),
        sa.CheckConstraint("hours_used >= 0", name=op.f("ck_plan_stop_hours_used_not_negative")),
        sa.CheckConstraint("position >= 0", name=op.f("ck_plan_stop_position_not_negative")),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_plan_stop_line_id_line")),
        sa.ForeignKeyConstraint(["outage_id"], ["outage.id"], name=op.f("fk_plan_stop_outage_id_outage")),
        sa.ForeignKeyConstraint(["plan_id"], ["plan.id"], name=op.f("fk_plan_stop_plan_id_plan")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_plan_stop_site_id_site")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan_stop")),
        sa.UniqueConstraint("plan_id", "outage_id", name=op.f("uq_plan_stop_plan_id_outage_id")),
        sa.UniqueConstraint("plan_id", "position", name=op.f("uq_plan_stop_plan_id_position")),
    )
    with op.batch_alter_table("plan_stop") as batch_op:
        batch_op.create_index(batch_op.f("ix_plan_stop_outage_id"), ["outage_id"], unique=False)

    op.create_table(
        "plan_choice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plan_item_id", sa.Integer(), nullable=False),
        sa.Column("plan_stop_id", sa.Integer(), nullable=False),
        sa.Column("chance_before", sa.Double(), nullable=True),
        sa.Column("closed", sa.Text(), nullable=False),
        sa.Column("window_h", sa.Double(), nullable=True, comment="none: no crew, it would never end"),
        sa.Column("kept_out", sa.Boolean(), nullable=False, comment="a person keeps the line out of it"),
        sa.CheckConstraint(
            "closed in ('open', 'not_planned', 'past', 'after_end', 'serves_others',"
            " 'window_too_short', 'crew_hours_too_few', 'pinned_out')",
            name=op.f("ck_plan_choice_closed_known"),
        ),
        sa.CheckConstraint("chance_before between 0 and 1", name=op.f("ck_plan_choice_chance_before_in_bounds")),
        sa.CheckConstraint("window_h >= 0", name=op.f("ck_plan_choice_window_h_not_negative")),
        sa.ForeignKeyConstraint(["plan_item_id"], ["plan_item.id"], name=op.f("fk_plan_choice_plan_item_id_plan_item")),
        sa.ForeignKeyConstraint(["plan_stop_id"], ["plan_stop.id"], name=op.f("fk_plan_choice_plan_stop_id_plan_stop")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan_choice")),
        sa.UniqueConstraint("plan_item_id", "plan_stop_id", name=op.f("uq_plan_choice_plan_item_id_plan_stop_id")),
    )
    with op.batch_alter_table("plan_choice") as batch_op:
        batch_op.create_index(batch_op.f("ix_plan_choice_plan_stop_id"), ["plan_stop_id"], unique=False)


def downgrade() -> None:
    op.drop_table("plan_choice")
    op.drop_table("plan_stop")
    op.drop_table("plan_item")
    op.drop_table("plan")
