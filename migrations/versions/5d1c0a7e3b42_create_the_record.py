"""Create the record: plant, visits, running, outages, proof and derived results.

The triggers that freeze signed sessions come with every run of migrations (`fleet.store.freeze`), not with a revision.

Revision ID: 5d1c0a7e3b42
Revises:
Create Date: 2026-11-25 12:23:19.418511
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "5d1c0a7e3b42"
down_revision: str | None = None
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

WITHDRAWAL = (
    "(withdrawn_at is null and withdrawn_by is null and withdrawn_why is null)"
    " or (withdrawn_at is not null and withdrawn_by is not null and withdrawn_why is not null)"
)
ONE_ASSET = (
    "(asset_kind = 'gearbox' and gearbox_id is not null and barrel_id is null and screw_id is null)"
    " or (asset_kind = 'barrel' and gearbox_id is null and barrel_id is not null and screw_id is null)"
    " or (asset_kind = 'screw' and gearbox_id is null and barrel_id is null and screw_id is not null)"
)
# Children before the tables they refer to.
TABLES = (
    "support_temperature",
    "reduction",
    "reduced_offset",
    "reading",
    "offset_entered",
    "move",
    "tolerance",
    "survey",
    "series_state",
    "running_check",
    "line_state",
    "finding",
    "event",
    "cold_target",
    "station",
    "session",
    "support",
    "placement",
    "outage",
    "meter",
    "wear",
    "setting",
    "line",
    "calibration",
    "store_state",
    "site",
    "screw",
    "intake",
    "instrument",
    "gearbox",
    "barrel",
    "audit",
)


def upgrade() -> None:
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("before", sa.Text(), nullable=True),
        sa.Column("after", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit")),
    )
    with op.batch_alter_table("audit") as batch_op:
        batch_op.create_index(batch_op.f("ix_audit_at"), ["at"], unique=False)

    op.create_table(
        "barrel",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("bore_mm", sa.Double(), nullable=True),
        sa.Column("outside_diameter_mm", sa.Double(), nullable=True),
        sa.Column("length_mm", sa.Double(), nullable=True),
        sa.Column("expansion_per_k", sa.Double(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("bore_mm >= 0", name=op.f("ck_barrel_bore_mm_not_negative")),
        sa.CheckConstraint("expansion_per_k between 0 and 0.00005", name=op.f("ck_barrel_expansion_per_k_in_bounds")),
        sa.CheckConstraint("length_mm between 0 and 20000", name=op.f("ck_barrel_length_mm_in_bounds")),
        sa.CheckConstraint("outside_diameter_mm >= 0", name=op.f("ck_barrel_outside_diameter_mm_not_negative")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_barrel")),
        sa.UniqueConstraint("serial", name=op.f("uq_barrel_serial")),
    )
    op.create_table(
        "gearbox",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("frame", sa.Text(), nullable=True),
        sa.Column("hollow_shaft_bore_mm", sa.Double(), nullable=True),
        sa.Column("centre_height_mm", sa.Double(), nullable=True, comment="feet to shaft axis"),
        sa.Column("expansion_per_k", sa.Double(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("centre_height_mm between 0 and 20000", name=op.f("ck_gearbox_centre_height_mm_in_bounds")),
        sa.CheckConstraint("expansion_per_k between 0 and 0.00005", name=op.f("ck_gearbox_expansion_per_k_in_bounds")),
        sa.CheckConstraint("hollow_shaft_bore_mm >= 0", name=op.f("ck_gearbox_hollow_shaft_bore_mm_not_negative")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gearbox")),
        sa.UniqueConstraint("serial", name=op.f("uq_gearbox_serial")),
    )
    op.create_table(
        "instrument",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("resolution_um", sa.Double(), nullable=True),
        sa.Column("repeatability_um", sa.Double(), nullable=True),
        sa.Column("target_zero_um", sa.Double(), nullable=True),
        sa.Column("beam_offset_um", sa.Double(), nullable=True),
        sa.Column("beam_direction_um_per_m", sa.Double(), nullable=True),
        sa.Column("wander_um", sa.Double(), nullable=True),
        sa.Column("sense_v", sa.Text(), nullable=True),
        sa.Column("sense_h", sa.Text(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("sense_h in ('bore_from_beam', 'beam_from_bore')", name=op.f("ck_instrument_sense_h_known")),
        sa.CheckConstraint("sense_v in ('bore_from_beam', 'beam_from_bore')", name=op.f("ck_instrument_sense_v_known")),
        sa.CheckConstraint(
            "beam_direction_um_per_m >= 0", name=op.f("ck_instrument_beam_direction_um_per_m_not_negative")
        ),
        sa.CheckConstraint("beam_offset_um >= 0", name=op.f("ck_instrument_beam_offset_um_not_negative")),
        sa.CheckConstraint("repeatability_um >= 0", name=op.f("ck_instrument_repeatability_um_not_negative")),
        sa.CheckConstraint("resolution_um >= 0", name=op.f("ck_instrument_resolution_um_not_negative")),
        sa.CheckConstraint("target_zero_um >= 0", name=op.f("ck_instrument_target_zero_um_not_negative")),
        sa.CheckConstraint("wander_um >= 0", name=op.f("ck_instrument_wander_um_not_negative")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instrument")),
        sa.UniqueConstraint("serial", name=op.f("uq_instrument_serial")),
    )
    op.create_table(
        "intake",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("taken_by", sa.Text(), nullable=False),
        sa.Column("rows_taken", sa.Integer(), nullable=False),
        sa.Column("rows_refused", sa.Integer(), server_default="0", nullable=False),
        sa.CheckConstraint("rows_refused >= 0", name=op.f("ck_intake_rows_refused_not_negative")),
        sa.CheckConstraint("rows_taken >= 0", name=op.f("ck_intake_rows_taken_not_negative")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_intake")),
    )
    with op.batch_alter_table("intake") as batch_op:
        batch_op.create_index(batch_op.f("ix_intake_sha256"), ["sha256"], unique=False)

    op.create_table(
        "screw",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("diameter_mm", sa.Double(), nullable=True),
        sa.Column("length_mm", sa.Double(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("diameter_mm >= 0", name=op.f("ck_screw_diameter_mm_not_negative")),
        sa.CheckConstraint("length_mm between 0 and 20000", name=op.f("ck_screw_length_mm_in_bounds")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_screw")),
        sa.UniqueConstraint("serial", name=op.f("uq_screw_serial")),
    )
    op.create_table(
        "site",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("time_zone", sa.Text(), nullable=True, comment="IANA name; none: UTC"),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site")),
        sa.UniqueConstraint("code", name=op.f("uq_site_code")),
    )
    op.create_table(
        "store_state",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("data_version", sa.Integer(), server_default="0", nullable=False),
        sa.Column("derived_version", sa.Integer(), nullable=True),
        sa.Column("derived_on", sa.Date(), nullable=True),
        sa.CheckConstraint("id = 1", name=op.f("ck_store_state_one_row")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_store_state")),
    )
    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("calibrated_on", sa.Date(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("certificate", sa.Text(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instrument.id"], name=op.f("fk_calibration_instrument_id_instrument")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calibration")),
        sa.UniqueConstraint("instrument_id", "calibrated_on", name=op.f("uq_calibration_instrument_id_calibrated_on")),
    )
    op.create_table(
        "line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=64), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=True),
        sa.Column("description", sa.Text(), nullable=True),
        sa.Column("screw_diameter_mm", sa.Double(), nullable=True),
        sa.Column("commissioned_on", sa.Date(), nullable=True),
        sa.Column("running_hours_per_year", sa.Double(), nullable=True),
        sa.Column("foundation", sa.Text(), nullable=True),
        sa.Column("cold_reference_c", sa.Double(), server_default="20", nullable=False),
        sa.Column("right_hand_side", sa.Text(), nullable=True, comment="the plant's word for + in h"),
        sa.Column("feed_section_mm", sa.Double(), nullable=True, comment="the barrel begins here"),
        sa.Column("weight", sa.Double(), server_default="1", nullable=False),
        sa.Column("visit_hours", sa.Double(), nullable=True),
        sa.Column("visit_cost_days", sa.Double(), nullable=True),
        sa.Column("cool_down_h", sa.Double(), nullable=True),
        sa.Column("heat_up_h", sa.Double(), nullable=True),
        sa.Column("screw_pull_h", sa.Double(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("cold_reference_c between -50 and 600", name=op.f("ck_line_cold_reference_c_in_bounds")),
        sa.CheckConstraint("cool_down_h >= 0", name=op.f("ck_line_cool_down_h_not_negative")),
        sa.CheckConstraint("feed_section_mm between 0 and 20000", name=op.f("ck_line_feed_section_mm_in_bounds")),
        sa.CheckConstraint("heat_up_h >= 0", name=op.f("ck_line_heat_up_h_not_negative")),
        sa.CheckConstraint("running_hours_per_year >= 0", name=op.f("ck_line_running_hours_per_year_not_negative")),
        sa.CheckConstraint("screw_diameter_mm >= 0", name=op.f("ck_line_screw_diameter_mm_not_negative")),
        sa.CheckConstraint("screw_pull_h >= 0", name=op.f("ck_line_screw_pull_h_not_negative")),
        sa.CheckConstraint("visit_cost_days >= 0", name=op.f("ck_line_visit_cost_days_not_negative")),
        sa.CheckConstraint("visit_hours >= 0", name=op.f("ck_line_visit_hours_not_negative")),
        sa.CheckConstraint("weight >= 0", name=op.f("ck_line_weight_not_negative")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_line_site_id_site")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_line")),
        sa.UniqueConstraint("code", name=op.f("uq_line_code")),
    )
    with op.batch_alter_table("line") as batch_op:
        batch_op.create_index(batch_op.f("ix_line_site_id"), ["site_id"], unique=False)

    op.create_table(
        "setting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=True, comment="none: all sites"),
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_setting_site_id_site")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_setting")),
    )
    with op.batch_alter_table("setting") as batch_op:
        batch_op.create_index(
            "uq_setting_key",
            [sa.literal_column("coalesce(site_id, 0)"), "name", sa.literal_column("coalesce(from_on, '0001-01-01')")],
            unique=True,
        )

    op.create_table(
        "wear",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("asset_kind", sa.Text(), nullable=False),
        sa.Column("gearbox_id", sa.Integer(), nullable=True),
        sa.Column("barrel_id", sa.Integer(), nullable=True),
        sa.Column("screw_id", sa.Integer(), nullable=True),
        sa.Column("measured_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("distance_mm", sa.Double(), nullable=False),
        sa.Column("diameter_v_entered", sa.Text(), nullable=True),
        sa.Column("diameter_h_entered", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("diameter_v_um", sa.Double(), nullable=True),
        sa.Column("diameter_h_um", sa.Double(), nullable=True),
        sa.Column("method", sa.Text(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_by", sa.Text(), nullable=True),
        sa.Column("withdrawn_why", sa.Text(), nullable=True),
        sa.CheckConstraint(ONE_ASSET, name=op.f("ck_wear_asset_of_its_kind")),
        sa.CheckConstraint("asset_kind in ('gearbox', 'barrel', 'screw')", name=op.f("ck_wear_asset_kind_known")),
        sa.CheckConstraint("unit in ('um', 'mm', 'in', 'thou')", name=op.f("ck_wear_unit_known")),
        sa.CheckConstraint(WITHDRAWAL, name=op.f("ck_wear_withdrawal_complete")),
        sa.CheckConstraint("diameter_h_um >= 0", name=op.f("ck_wear_diameter_h_um_not_negative")),
        sa.CheckConstraint("diameter_v_um >= 0", name=op.f("ck_wear_diameter_v_um_not_negative")),
        sa.CheckConstraint("distance_mm between 0 and 20000", name=op.f("ck_wear_distance_mm_in_bounds")),
        sa.ForeignKeyConstraint(["barrel_id"], ["barrel.id"], name=op.f("fk_wear_barrel_id_barrel")),
        sa.ForeignKeyConstraint(["gearbox_id"], ["gearbox.id"], name=op.f("fk_wear_gearbox_id_gearbox")),
        sa.ForeignKeyConstraint(["screw_id"], ["screw.id"], name=op.f("fk_wear_screw_id_screw")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wear")),
    )
    with op.batch_alter_table("wear") as batch_op:
        batch_op.create_index(
            "uq_wear_key",
            [
                sa.literal_column("coalesce(gearbox_id, 0)"),
                sa.literal_column("coalesce(barrel_id, 0)"),
                sa.literal_column("coalesce(screw_id, 0)"),
                "measured_at",
                "distance_mm",
            ],
            unique=True,
            sqlite_where=sa.text("withdrawn_at is null"),
            postgresql_where=sa.text("withdrawn_at is null"),
        )

    op.create_table(
        "meter",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("read_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("running_hours", sa.Double(), nullable=False),
        sa.Column("starts", sa.Integer(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_by", sa.Text(), nullable=True),
        sa.Column("withdrawn_why", sa.Text(), nullable=True),
        sa.CheckConstraint(WITHDRAWAL, name=op.f("ck_meter_withdrawal_complete")),
        sa.CheckConstraint("running_hours >= 0", name=op.f("ck_meter_running_hours_not_negative")),
        sa.CheckConstraint("starts >= 0", name=op.f("ck_meter_starts_not_negative")),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_meter_line_id_line")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_meter")),
    )
    with op.batch_alter_table("meter") as batch_op:
        batch_op.create_index(
            "uq_meter_key",
            ["line_id", "read_at"],
            unique=True,
            sqlite_where=sa.text("withdrawn_at is null"),
            postgresql_where=sa.text("withdrawn_at is null"),
        )

    op.create_table(
        "outage",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=64), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=True),
        sa.Column("line_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("starts_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("crew_hours", sa.Double(), nullable=True),
        sa.Column("crews", sa.Double(), nullable=True),
        sa.Column("state", sa.Text(), server_default="planned", nullable=False),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("state in ('planned', 'done', 'cancelled')", name=op.f("ck_outage_state_known")),
        sa.CheckConstraint("crew_hours >= 0", name=op.f("ck_outage_crew_hours_not_negative")),
        sa.CheckConstraint("crews >= 0", name=op.f("ck_outage_crews_not_negative")),
        sa.CheckConstraint("ends_at is null or ends_at >= starts_at", name=op.f("ck_outage_ends_after_start")),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_outage_line_id_line")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_outage_site_id_site")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outage")),
        sa.UniqueConstraint("code", name=op.f("uq_outage_code")),
    )
    with op.batch_alter_table("outage") as batch_op:
        batch_op.create_index(batch_op.f("ix_outage_line_id_starts_at"), ["line_id", "starts_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_outage_site_id_starts_at"), ["site_id", "starts_at"], unique=False)

    op.create_table(
        "placement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("asset_kind", sa.Text(), nullable=False),
        sa.Column("gearbox_id", sa.Integer(), nullable=True),
        sa.Column("barrel_id", sa.Integer(), nullable=True),
        sa.Column("screw_id", sa.Integer(), nullable=True),
        sa.Column("installed_on", sa.Date(), nullable=False),
        sa.Column("removed_on", sa.Date(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint(ONE_ASSET, name=op.f("ck_placement_asset_of_its_kind")),
        sa.CheckConstraint("asset_kind in ('gearbox', 'barrel', 'screw')", name=op.f("ck_placement_asset_kind_known")),
        sa.CheckConstraint(
            "removed_on is null or removed_on >= installed_on", name=op.f("ck_placement_removed_after_installed")
        ),
        sa.ForeignKeyConstraint(["barrel_id"], ["barrel.id"], name=op.f("fk_placement_barrel_id_barrel")),
        sa.ForeignKeyConstraint(["gearbox_id"], ["gearbox.id"], name=op.f("fk_placement_gearbox_id_gearbox")),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_placement_line_id_line")),
        sa.ForeignKeyConstraint(["screw_id"], ["screw.id"], name=op.f("fk_placement_screw_id_screw")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_placement")),
        sa.UniqueConstraint("barrel_id", "installed_on", name=op.f("uq_placement_barrel_id_installed_on")),
        sa.UniqueConstraint("gearbox_id", "installed_on", name=op.f("uq_placement_gearbox_id_installed_on")),
        sa.UniqueConstraint("screw_id", "installed_on", name=op.f("uq_placement_screw_id_installed_on")),
    )
    with op.batch_alter_table("placement") as batch_op:
        batch_op.create_index(
            batch_op.f("ix_placement_line_id_asset_kind_installed_on"),
            ["line_id", "asset_kind", "installed_on"],
            unique=False,
        )

    op.create_table(
        "support",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=64), nullable=False),
        sa.Column("distance_mm", sa.Double(), nullable=False),
        sa.Column("height_mm", sa.Double(), nullable=True, comment="base to barrel axis"),
        sa.Column("saddle", sa.Text(), nullable=True),
        sa.Column("vee_angle_deg", sa.Double(), nullable=True, comment="included angle"),
        sa.Column("carries", sa.Text(), server_default="rigid", nullable=False),
        sa.Column("slides", sa.Text(), nullable=True),
        sa.Column("adjusts_v", sa.Boolean(), nullable=True),
        sa.Column("adjusts_h", sa.Boolean(), nullable=True),
        sa.Column("v_step_um", sa.Double(), nullable=True),
        sa.Column("base_expansion_per_k", sa.Double(), nullable=True),
        sa.Column("added_on", sa.Date(), nullable=True),
        sa.Column("removed_on", sa.Date(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("carries in ('rigid', 'floating')", name=op.f("ck_support_carries_known")),
        sa.CheckConstraint("saddle in ('vee', 'flat', 'centreline', 'plate')", name=op.f("ck_support_saddle_known")),
        sa.CheckConstraint("slides in ('fixed', 'slides', 'rolls', 'flexes')", name=op.f("ck_support_slides_known")),
        sa.CheckConstraint(
            "base_expansion_per_k between 0 and 0.00005", name=op.f("ck_support_base_expansion_per_k_in_bounds")
        ),
        sa.CheckConstraint("distance_mm between 0 and 20000", name=op.f("ck_support_distance_mm_in_bounds")),
        sa.CheckConstraint("height_mm between 0 and 20000", name=op.f("ck_support_height_mm_in_bounds")),
        sa.CheckConstraint(
            "removed_on is null or added_on is null or removed_on >= added_on",
            name=op.f("ck_support_removed_after_added"),
        ),
        sa.CheckConstraint("v_step_um >= 0", name=op.f("ck_support_v_step_um_not_negative")),
        sa.CheckConstraint(
            "vee_angle_deg > 0 and vee_angle_deg < 180", name=op.f("ck_support_vee_angle_deg_in_bounds")
        ),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_support_line_id_line")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_support")),
        sa.UniqueConstraint("line_id", "code", name=op.f("uq_support_line_id_code")),
    )
    op.create_table(
        "session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=64), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("outage_id", sa.Integer(), nullable=True),
        sa.Column("technician", sa.Text(), nullable=True),
        sa.Column("instrument_id", sa.Integer(), nullable=True),
        sa.Column("work_order", sa.Text(), nullable=True),
        sa.Column("running_hours", sa.Double(), nullable=True),
        sa.Column("ambient_c", sa.Double(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=True),
        sa.Column("state", sa.Text(), server_default="draft", nullable=False),
        sa.Column("signed_by", sa.Text(), nullable=True),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("corrects_id", sa.Integer(), nullable=True),
        sa.Column("correction_reason", sa.Text(), nullable=True),
        sa.Column(
            "version", sa.Integer(), server_default="1", nullable=False, comment="raised by each save of a draft"
        ),
        sa.Column("created_by", sa.Text(), nullable=True),
        sa.Column("client_key", sa.Text(), nullable=True, comment="the device's own key: a retry makes no twin"),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("intake_id", sa.Integer(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint(
            "(state = 'draft' and signed_at is null and signed_by is null)"
            " or (state = 'signed' and signed_at is not null and signed_by is not null)",
            name=op.f("ck_session_signed_by_somebody"),
        ),
        sa.CheckConstraint("state in ('draft', 'signed')", name=op.f("ck_session_state_known")),
        sa.CheckConstraint("ambient_c between -50 and 600", name=op.f("ck_session_ambient_c_in_bounds")),
        sa.CheckConstraint("corrects_id <> id", name=op.f("ck_session_corrects_another")),
        sa.CheckConstraint(
            "corrects_id is null or correction_reason is not null", name=op.f("ck_session_correction_with_reason")
        ),
        sa.CheckConstraint("running_hours >= 0", name=op.f("ck_session_running_hours_not_negative")),
        sa.ForeignKeyConstraint(["corrects_id"], ["session.id"], name=op.f("fk_session_corrects_id_session")),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"], name=op.f("fk_session_instrument_id_instrument")),
        sa.ForeignKeyConstraint(["intake_id"], ["intake.id"], name=op.f("fk_session_intake_id_intake")),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_session_line_id_line")),
        sa.ForeignKeyConstraint(["outage_id"], ["outage.id"], name=op.f("fk_session_outage_id_outage")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_session")),
        sa.UniqueConstraint("client_key", name=op.f("uq_session_client_key")),
        sa.UniqueConstraint("code", name=op.f("uq_session_code")),
        sa.UniqueConstraint("corrects_id", name=op.f("uq_session_corrects_id")),
    )
    with op.batch_alter_table("session") as batch_op:
        batch_op.create_index(batch_op.f("ix_session_intake_id"), ["intake_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_session_line_id_started_at"), ["line_id", "started_at"], unique=False)

    op.create_table(
        "station",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=64), nullable=False),
        sa.Column("distance_mm", sa.Double(), nullable=False),
        sa.Column("support_id", sa.Integer(), nullable=True),
        sa.Column("bore", sa.Integer(), server_default="1", nullable=False),
        sa.Column("segment", sa.Text(), nullable=True),
        sa.Column("added_on", sa.Date(), nullable=True),
        sa.Column("removed_on", sa.Date(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("bore >= 1", name=op.f("ck_station_bore_from_one")),
        sa.CheckConstraint("distance_mm between 0 and 20000", name=op.f("ck_station_distance_mm_in_bounds")),
        sa.CheckConstraint(
            "removed_on is null or added_on is null or removed_on >= added_on",
            name=op.f("ck_station_removed_after_added"),
        ),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_station_line_id_line")),
        sa.ForeignKeyConstraint(["support_id"], ["support.id"], name=op.f("fk_station_support_id_support")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_station")),
        sa.UniqueConstraint("line_id", "code", name=op.f("uq_station_line_id_code")),
    )
    op.create_table(
        "cold_target",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("v_entered", sa.Text(), nullable=False),
        sa.Column("h_entered", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("v_um", sa.Double(), nullable=False),
        sa.Column("h_um", sa.Double(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("unit in ('um', 'mm', 'in', 'thou')", name=op.f("ck_cold_target_unit_known")),
        sa.CheckConstraint("h_um between -50000 and 50000", name=op.f("ck_cold_target_h_um_in_bounds")),
        sa.CheckConstraint("v_um between -50000 and 50000", name=op.f("ck_cold_target_v_um_in_bounds")),
        sa.ForeignKeyConstraint(["session_id"], ["session.id"], name=op.f("fk_cold_target_session_id_session")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_cold_target_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cold_target")),
        sa.UniqueConstraint("session_id", "station_id", name=op.f("uq_cold_target_session_id_station_id")),
    )
    op.create_table(
        "event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("happened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("kind", sa.String(length=64), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("resets_trend", sa.Boolean(), server_default=sa.text("false"), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("support_id", sa.Integer(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_by", sa.Text(), nullable=True),
        sa.Column("withdrawn_why", sa.Text(), nullable=True),
        sa.CheckConstraint(WITHDRAWAL, name=op.f("ck_event_withdrawal_complete")),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_event_line_id_line")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_event_station_id_station")),
        sa.ForeignKeyConstraint(["support_id"], ["support.id"], name=op.f("fk_event_support_id_support")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_event")),
    )
    with op.batch_alter_table("event") as batch_op:
        batch_op.create_index(
            "uq_event_key",
            [
                "line_id",
                "happened_at",
                "kind",
                sa.literal_column("coalesce(station_id, 0)"),
                sa.literal_column("coalesce(support_id, 0)"),
            ],
            unique=True,
            sqlite_where=sa.text("withdrawn_at is null"),
            postgresql_where=sa.text("withdrawn_at is null"),
        )

    op.create_table(
        "finding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("item", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_by", sa.Text(), nullable=True),
        sa.Column("withdrawn_why", sa.Text(), nullable=True),
        sa.CheckConstraint(WITHDRAWAL, name=op.f("ck_finding_withdrawal_complete")),
        sa.ForeignKeyConstraint(["session_id"], ["session.id"], name=op.f("fk_finding_session_id_session")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_finding")),
    )
    with op.batch_alter_table("finding") as batch_op:
        batch_op.create_index(
            "uq_finding_key",
            ["session_id", "item"],
            unique=True,
            sqlite_where=sa.text("withdrawn_at is null"),
            postgresql_where=sa.text("withdrawn_at is null"),
        )

    op.create_table(
        "line_state",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=True),
        sa.Column("foundation", sa.Text(), nullable=True),
        sa.Column("screw_diameter_mm", sa.Double(), nullable=True),
        sa.Column("data_version", sa.Integer(), nullable=False),
        sa.Column("site_day", sa.Date(), nullable=False),
        sa.Column("urgency", sa.Double(), nullable=False, comment="the smaller, the sooner: sorts the Fleet page"),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True, comment="the worst station"),
        sa.Column("axis", sa.Text(), nullable=True),
        sa.Column("share_of_limit", sa.Double(), nullable=True),
        sa.Column("chance_next", sa.Double(), nullable=True),
        sa.Column("chance_following", sa.Double(), nullable=True),
        sa.Column("over_p10", sa.Date(), nullable=True),
        sa.Column("over_p50", sa.Date(), nullable=True),
        sa.Column("over_p90", sa.Date(), nullable=True),
        sa.Column("last_visit_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("next_outage", sa.String(length=64), nullable=True),
        sa.CheckConstraint("axis in ('v', 'h')", name=op.f("ck_line_state_axis_known")),
        sa.CheckConstraint(
            "status in ('over', 'due', 'watch', 'within', 'no record')", name=op.f("ck_line_state_status_known")
        ),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_line_state_line_id_line")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_line_state_site_id_site")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_line_state_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_line_state")),
        sa.UniqueConstraint("line_id", name=op.f("uq_line_state_line_id")),
    )
    with op.batch_alter_table("line_state") as batch_op:
        batch_op.create_index(batch_op.f("ix_line_state_site_id_urgency"), ["site_id", "urgency"], unique=False)
        batch_op.create_index(batch_op.f("ix_line_state_status_urgency"), ["status", "urgency"], unique=False)
        batch_op.create_index(batch_op.f("ix_line_state_urgency_line_id"), ["urgency", "line_id"], unique=False)

    op.create_table(
        "running_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("checked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("v_rise_entered", sa.Text(), nullable=False),
        sa.Column("h_rise_entered", sa.Text(), nullable=True),
        sa.Column("u_entered", sa.Text(), nullable=True),
        sa.Column("gearbox_rise_entered", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("v_rise_um", sa.Double(), nullable=False),
        sa.Column("h_rise_um", sa.Double(), nullable=True),
        sa.Column("u_um", sa.Double(), nullable=True),
        sa.Column("gearbox_rise_um", sa.Double(), nullable=True),
        sa.Column("relative_to", sa.Text(), server_default="gearbox_axis", nullable=False),
        sa.Column("barrel_c", sa.Double(), nullable=True),
        sa.Column("gearbox_c", sa.Double(), nullable=True),
        sa.Column("gearbox_c_at", sa.Text(), server_default="casing_mean", nullable=False),
        sa.Column("base_c", sa.Double(), nullable=True),
        sa.Column("zero_barrel_c", sa.Double(), nullable=True),
        sa.Column("zero_gearbox_c", sa.Double(), nullable=True),
        sa.Column("zero_base_c", sa.Double(), nullable=True),
        sa.Column("hours_since_heats_on", sa.Double(), nullable=True),
        sa.Column("screw", sa.Text(), nullable=True),
        sa.Column("die", sa.Text(), nullable=True),
        sa.Column("method", sa.Text(), nullable=True),
        sa.Column("technician", sa.Text(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_by", sa.Text(), nullable=True),
        sa.Column("withdrawn_why", sa.Text(), nullable=True),
        sa.CheckConstraint("die in ('on', 'off')", name=op.f("ck_running_check_die_known")),
        sa.CheckConstraint("gearbox_c_at in ('casing_mean', 'oil')", name=op.f("ck_running_check_gearbox_c_at_known")),
        sa.CheckConstraint("relative_to in ('gearbox_axis', 'floor')", name=op.f("ck_running_check_relative_to_known")),
        sa.CheckConstraint("screw in ('out', 'in')", name=op.f("ck_running_check_screw_known")),
        sa.CheckConstraint("unit in ('um', 'mm', 'in', 'thou')", name=op.f("ck_running_check_unit_known")),
        sa.CheckConstraint(WITHDRAWAL, name=op.f("ck_running_check_withdrawal_complete")),
        sa.CheckConstraint("barrel_c between -50 and 600", name=op.f("ck_running_check_barrel_c_in_bounds")),
        sa.CheckConstraint("base_c between -50 and 600", name=op.f("ck_running_check_base_c_in_bounds")),
        sa.CheckConstraint("gearbox_c between -50 and 600", name=op.f("ck_running_check_gearbox_c_in_bounds")),
        sa.CheckConstraint(
            "gearbox_rise_um between -50000 and 50000", name=op.f("ck_running_check_gearbox_rise_um_in_bounds")
        ),
        sa.CheckConstraint("h_rise_um between -50000 and 50000", name=op.f("ck_running_check_h_rise_um_in_bounds")),
        sa.CheckConstraint(
            "hours_since_heats_on >= 0", name=op.f("ck_running_check_hours_since_heats_on_not_negative")
        ),
        sa.CheckConstraint("u_um between 0 and 50000", name=op.f("ck_running_check_u_um_in_bounds")),
        sa.CheckConstraint("v_rise_um between -50000 and 50000", name=op.f("ck_running_check_v_rise_um_in_bounds")),
        sa.CheckConstraint("zero_barrel_c between -50 and 600", name=op.f("ck_running_check_zero_barrel_c_in_bounds")),
        sa.CheckConstraint("zero_base_c between -50 and 600", name=op.f("ck_running_check_zero_base_c_in_bounds")),
        sa.CheckConstraint(
            "zero_gearbox_c between -50 and 600", name=op.f("ck_running_check_zero_gearbox_c_in_bounds")
        ),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_running_check_line_id_line")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_running_check_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_running_check")),
    )
    with op.batch_alter_table("running_check") as batch_op:
        batch_op.create_index(
            "uq_running_check_key",
            ["line_id", "checked_at", "station_id"],
            unique=True,
            sqlite_where=sa.text("withdrawn_at is null"),
            postgresql_where=sa.text("withdrawn_at is null"),
        )

    op.create_table(
        "series_state",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("axis", sa.Text(), nullable=False),
        sa.Column("data_version", sa.Integer(), nullable=False),
        sa.Column("site_day", sa.Date(), nullable=False, comment="as of the end of this day at the site"),
        sa.Column("last_session", sa.String(length=64), nullable=True),
        sa.Column("last_measured_um", sa.Double(), nullable=True),
        sa.Column("last_measured_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("measured_deviation_um", sa.Double(), nullable=True),
        sa.Column("u95_deviation_um", sa.Double(), nullable=True),
        sa.Column("position_um", sa.Double(), nullable=True),
        sa.Column("u_position_um", sa.Double(), nullable=True),
        sa.Column("rate_um_per_year", sa.Double(), nullable=True),
        sa.Column("u_rate_um_per_year", sa.Double(), nullable=True),
        sa.Column("rate_um_per_1000_h", sa.Double(), nullable=True),
        sa.Column("deviation_um", sa.Double(), nullable=True),
        sa.Column("watch_um", sa.Double(), nullable=True),
        sa.Column("limit_um", sa.Double(), nullable=True),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("chance_now", sa.Double(), nullable=True),
        sa.Column("chance_30", sa.Double(), nullable=True),
        sa.Column("chance_90", sa.Double(), nullable=True),
        sa.Column("chance_180", sa.Double(), nullable=True),
        sa.Column("chance_365", sa.Double(), nullable=True),
        sa.Column("chance_730", sa.Double(), nullable=True),
        sa.Column("next_outage", sa.String(length=64), nullable=True),
        sa.Column("chance_before_next_outage", sa.Double(), nullable=True),
        sa.Column("following_outage", sa.String(length=64), nullable=True),
        sa.Column("chance_before_following_outage", sa.Double(), nullable=True),
        sa.Column("over_p10", sa.Date(), nullable=True),
        sa.Column("over_p50", sa.Date(), nullable=True),
        sa.Column("over_p90", sa.Date(), nullable=True),
        sa.Column("borrowed_lines", sa.Integer(), nullable=True),
        sa.Column("borrowed_weight", sa.Double(), nullable=True),
        sa.Column(
            "expected", sa.Text(), nullable=True, comment="JSON: what a cold survey on the asked dates would measure"
        ),
        sa.CheckConstraint("axis in ('v', 'h')", name=op.f("ck_series_state_axis_known")),
        sa.CheckConstraint(
            "status in ('over', 'due', 'watch', 'within', 'no record')", name=op.f("ck_series_state_status_known")
        ),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_series_state_line_id_line")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_series_state_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_series_state")),
        sa.UniqueConstraint("line_id", "station_id", "axis", name=op.f("uq_series_state_line_id_station_id_axis")),
    )
    op.create_table(
        "survey",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("phase", sa.Text(), nullable=False),
        sa.Column("measured_at", sa.DateTime(timezone=True), nullable=True, comment="none: the session's started_at"),
        sa.Column("instrument_id", sa.Integer(), nullable=True, comment="none: the session's"),
        sa.Column("barrel_c", sa.Double(), nullable=True),
        sa.Column("gearbox_c", sa.Double(), nullable=True),
        sa.Column("gearbox_c_at", sa.Text(), server_default="casing_mean", nullable=False),
        sa.Column("base_c", sa.Double(), nullable=True),
        sa.Column("gearbox_level_um_per_m", sa.Double(), nullable=True),
        sa.Column("axis_by", sa.Text(), nullable=True),
        sa.Column("bolts", sa.Text(), nullable=True),
        sa.Column("screw", sa.Text(), nullable=True),
        sa.Column("die", sa.Text(), nullable=True),
        sa.Column("heats_off_h", sa.Double(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint(
            "axis_by in ('shaft_turned', 'fixture_turned', 'bore_centred')", name=op.f("ck_survey_axis_by_known")
        ),
        sa.CheckConstraint("bolts in ('torqued', 'loose')", name=op.f("ck_survey_bolts_known")),
        sa.CheckConstraint("die in ('on', 'off')", name=op.f("ck_survey_die_known")),
        sa.CheckConstraint("gearbox_c_at in ('casing_mean', 'oil')", name=op.f("ck_survey_gearbox_c_at_known")),
        sa.CheckConstraint("phase in ('as_found', 'interim', 'as_left', 'hot')", name=op.f("ck_survey_phase_known")),
        sa.CheckConstraint("screw in ('out', 'in')", name=op.f("ck_survey_screw_known")),
        sa.CheckConstraint("barrel_c between -50 and 600", name=op.f("ck_survey_barrel_c_in_bounds")),
        sa.CheckConstraint("base_c between -50 and 600", name=op.f("ck_survey_base_c_in_bounds")),
        sa.CheckConstraint("gearbox_c between -50 and 600", name=op.f("ck_survey_gearbox_c_in_bounds")),
        sa.CheckConstraint("heats_off_h >= 0", name=op.f("ck_survey_heats_off_h_not_negative")),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"], name=op.f("fk_survey_instrument_id_instrument")),
        sa.ForeignKeyConstraint(["session_id"], ["session.id"], name=op.f("fk_survey_session_id_session")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_survey")),
        sa.UniqueConstraint("session_id", "number", name=op.f("uq_survey_session_id_number")),
    )
    op.create_table(
        "tolerance",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True, comment="none: the whole line"),
        sa.Column("axis", sa.Text(), nullable=False),
        sa.Column("measure", sa.Text(), server_default="offset", nullable=False),
        sa.Column("from_on", sa.Date(), nullable=True, comment="none: always"),
        sa.Column("watch_um", sa.Double(), nullable=True),
        sa.Column("limit_um", sa.Double(), nullable=False),
        sa.Column("set_within_um", sa.Double(), nullable=True),
        sa.Column("basis", sa.Text(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_by", sa.Text(), nullable=True),
        sa.Column("withdrawn_why", sa.Text(), nullable=True),
        sa.CheckConstraint("axis in ('v', 'h')", name=op.f("ck_tolerance_axis_known")),
        sa.CheckConstraint("measure in ('offset', 'slope', 'bow')", name=op.f("ck_tolerance_measure_known")),
        sa.CheckConstraint(WITHDRAWAL, name=op.f("ck_tolerance_withdrawal_complete")),
        sa.CheckConstraint("limit_um >= 0", name=op.f("ck_tolerance_limit_um_not_negative")),
        sa.CheckConstraint("set_within_um >= 0", name=op.f("ck_tolerance_set_within_um_not_negative")),
        sa.CheckConstraint("watch_um >= 0", name=op.f("ck_tolerance_watch_um_not_negative")),
        sa.CheckConstraint("watch_um is null or watch_um <= limit_um", name=op.f("ck_tolerance_watch_not_above_limit")),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_tolerance_line_id_line")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_tolerance_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tolerance")),
    )
    with op.batch_alter_table("tolerance") as batch_op:
        batch_op.create_index(
            "uq_tolerance_key",
            [
                "line_id",
                sa.literal_column("coalesce(station_id, 0)"),
                "axis",
                "measure",
                sa.literal_column("coalesce(from_on, '0001-01-01')"),
            ],
            unique=True,
            sqlite_where=sa.text("withdrawn_at is null"),
            postgresql_where=sa.text("withdrawn_at is null"),
        )

    op.create_table(
        "move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("after_survey_id", sa.Integer(), nullable=True),
        sa.Column("support_id", sa.Integer(), nullable=True),
        sa.Column("place", sa.Text(), nullable=True),
        sa.Column("v_entered", sa.Text(), nullable=True),
        sa.Column("h_entered", sa.Text(), nullable=True),
        sa.Column("room_up_entered", sa.Text(), nullable=True),
        sa.Column("room_down_entered", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("v_um", sa.Double(), nullable=True),
        sa.Column("h_um", sa.Double(), nullable=True),
        sa.Column("room_up_um", sa.Double(), nullable=True),
        sa.Column("room_down_um", sa.Double(), nullable=True),
        sa.Column("how", sa.Text(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("place in ('gearbox_feet', 'flange')", name=op.f("ck_move_place_known")),
        sa.CheckConstraint("unit in ('um', 'mm', 'in', 'thou')", name=op.f("ck_move_unit_known")),
        sa.CheckConstraint("(support_id is null) <> (place is null)", name=op.f("ck_move_support_or_place")),
        sa.CheckConstraint("h_um between -50000 and 50000", name=op.f("ck_move_h_um_in_bounds")),
        sa.CheckConstraint("room_down_um between 0 and 50000", name=op.f("ck_move_room_down_um_in_bounds")),
        sa.CheckConstraint("room_up_um between 0 and 50000", name=op.f("ck_move_room_up_um_in_bounds")),
        sa.CheckConstraint("v_um between -50000 and 50000", name=op.f("ck_move_v_um_in_bounds")),
        sa.ForeignKeyConstraint(["after_survey_id"], ["survey.id"], name=op.f("fk_move_after_survey_id_survey")),
        sa.ForeignKeyConstraint(["session_id"], ["session.id"], name=op.f("fk_move_session_id_session")),
        sa.ForeignKeyConstraint(["support_id"], ["support.id"], name=op.f("fk_move_support_id_support")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_move")),
    )
    with op.batch_alter_table("move") as batch_op:
        batch_op.create_index(
            "uq_move_key",
            [
                "session_id",
                sa.literal_column("coalesce(after_survey_id, 0)"),
                sa.literal_column("coalesce(support_id, 0)"),
                sa.literal_column("coalesce(place, '')"),
            ],
            unique=True,
        )

    op.create_table(
        "offset_entered",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("survey_id", sa.Integer(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("v_entered", sa.Text(), nullable=False),
        sa.Column("h_entered", sa.Text(), nullable=False),
        sa.Column("u_v_entered", sa.Text(), nullable=True),
        sa.Column("u_h_entered", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("v_um", sa.Double(), nullable=False),
        sa.Column("h_um", sa.Double(), nullable=False),
        sa.Column("u_v_um", sa.Double(), nullable=True),
        sa.Column("u_h_um", sa.Double(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("unit in ('um', 'mm', 'in', 'thou')", name=op.f("ck_offset_entered_unit_known")),
        sa.CheckConstraint("h_um between -50000 and 50000", name=op.f("ck_offset_entered_h_um_in_bounds")),
        sa.CheckConstraint("u_h_um between 0 and 50000", name=op.f("ck_offset_entered_u_h_um_in_bounds")),
        sa.CheckConstraint("u_v_um between 0 and 50000", name=op.f("ck_offset_entered_u_v_um_in_bounds")),
        sa.CheckConstraint("v_um between -50000 and 50000", name=op.f("ck_offset_entered_v_um_in_bounds")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_offset_entered_station_id_station")),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name=op.f("fk_offset_entered_survey_id_survey")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_offset_entered")),
        sa.UniqueConstraint("survey_id", "station_id", name=op.f("uq_offset_entered_survey_id_station_id")),
    )
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("survey_id", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("beam_state", sa.Integer(), server_default="1", nullable=False),
        sa.Column("beam_roll_deg", sa.Double(), server_default="0", nullable=False),
        sa.Column("target_roll_deg", sa.Double(), server_default="0", nullable=False),
        sa.Column("v_entered", sa.Text(), nullable=False),
        sa.Column("h_entered", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("v_um", sa.Double(), nullable=False),
        sa.Column("h_um", sa.Double(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.CheckConstraint("unit in ('um', 'mm', 'in', 'thou')", name=op.f("ck_reading_unit_known")),
        sa.CheckConstraint("beam_roll_deg between -360 and 360", name=op.f("ck_reading_beam_roll_deg_in_bounds")),
        sa.CheckConstraint("h_um between -50000 and 50000", name=op.f("ck_reading_h_um_in_bounds")),
        sa.CheckConstraint("target_roll_deg between -360 and 360", name=op.f("ck_reading_target_roll_deg_in_bounds")),
        sa.CheckConstraint("v_um between -50000 and 50000", name=op.f("ck_reading_v_um_in_bounds")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_reading_station_id_station")),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name=op.f("fk_reading_survey_id_survey")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
        sa.UniqueConstraint("survey_id", "sequence", name=op.f("uq_reading_survey_id_sequence")),
    )
    op.create_table(
        "reduced_offset",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("survey_id", sa.Integer(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("v_um", sa.Double(), nullable=False),
        sa.Column("h_um", sa.Double(), nullable=False),
        sa.Column("u_v_um", sa.Double(), nullable=False),
        sa.Column("u_h_um", sa.Double(), nullable=False),
        sa.Column("dof_v", sa.Double(), nullable=True, comment="none: entered, without degrees of freedom"),
        sa.Column("dof_h", sa.Double(), nullable=True),
        sa.Column(
            "setup_v_um2",
            sa.Double(),
            nullable=False,
            comment="variance in common to the session's surveys and stations",
        ),
        sa.Column("setup_h_um2", sa.Double(), nullable=False),
        sa.Column("v_cold_um", sa.Double(), nullable=False),
        sa.Column("h_cold_um", sa.Double(), nullable=False),
        sa.Column("u_v_cold_um", sa.Double(), nullable=False),
        sa.Column("u_h_cold_um", sa.Double(), nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_reduced_offset_station_id_station")),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name=op.f("fk_reduced_offset_survey_id_survey")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reduced_offset")),
        sa.UniqueConstraint("survey_id", "station_id", name=op.f("uq_reduced_offset_survey_id_station_id")),
    )
    with op.batch_alter_table("reduced_offset") as batch_op:
        batch_op.create_index(batch_op.f("ix_reduced_offset_station_id"), ["station_id"], unique=False)

    op.create_table(
        "reduction",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("survey_id", sa.Integer(), nullable=False),
        sa.Column("method_version", sa.Text(), nullable=False),
        sa.Column("dof", sa.Double(), nullable=True),
        sa.Column("scale", sa.Double(), nullable=True),
        sa.Column("covariance", sa.Text(), nullable=True, comment="JSON: stations and the matrix in um^2"),
        sa.Column("beam", sa.Text(), nullable=True, comment="JSON: e [um] and theta [um/m] per beam state"),
        sa.Column("closure", sa.Text(), nullable=True, comment="JSON: change at the first station read again [um]"),
        sa.Column("remarks", sa.Text(), nullable=True, comment="JSON: checks and remarks"),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name=op.f("fk_reduction_survey_id_survey")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reduction")),
        sa.UniqueConstraint("survey_id", name=op.f("uq_reduction_survey_id")),
    )
    op.create_table(
        "support_temperature",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("survey_id", sa.Integer(), nullable=True),
        sa.Column("line_id", sa.Integer(), nullable=True),
        sa.Column("checked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("support_id", sa.Integer(), nullable=False),
        sa.Column("barrel_c", sa.Double(), nullable=True),
        sa.Column("base_c", sa.Double(), nullable=True),
        sa.Column("typed", sa.Text(), server_default="{}", nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_by", sa.Text(), nullable=True),
        sa.Column("withdrawn_why", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "(survey_id is not null and line_id is null and checked_at is null)"
            " or (survey_id is null and line_id is not null and checked_at is not null)",
            name=op.f("ck_support_temperature_survey_or_running_check"),
        ),
        sa.CheckConstraint(WITHDRAWAL, name=op.f("ck_support_temperature_withdrawal_complete")),
        sa.CheckConstraint("barrel_c between -50 and 600", name=op.f("ck_support_temperature_barrel_c_in_bounds")),
        sa.CheckConstraint("base_c between -50 and 600", name=op.f("ck_support_temperature_base_c_in_bounds")),
        sa.ForeignKeyConstraint(["line_id"], ["line.id"], name=op.f("fk_support_temperature_line_id_line")),
        sa.ForeignKeyConstraint(["support_id"], ["support.id"], name=op.f("fk_support_temperature_support_id_support")),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name=op.f("fk_support_temperature_survey_id_survey")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_support_temperature")),
    )
    with op.batch_alter_table("support_temperature") as batch_op:
        batch_op.create_index(
            batch_op.f("ix_support_temperature_line_id_checked_at"), ["line_id", "checked_at"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_support_temperature_survey_id"), ["survey_id"], unique=False)
        batch_op.create_index(
            "uq_support_temperature_key",
            [
                sa.literal_column("coalesce(survey_id, 0)"),
                sa.literal_column("coalesce(line_id, 0)"),
                sa.literal_column("coalesce(checked_at, '0001-01-01 00:00:00+00')"),
                "support_id",
            ],
            unique=True,
            sqlite_where=sa.text("withdrawn_at is null"),
            postgresql_where=sa.text("withdrawn_at is null"),
        )

    op.execute("insert into store_state (id, data_version) values (1, 0)")


def downgrade() -> None:
    # The oldest revision: before it there was no record, so going back lets all of it go.
    for table in TABLES:
        op.drop_table(table)
