"""Rules of the record that the database keeps by itself (the project's own, from its design of the record)."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from record_rows import NOON, Ids, fill
from sqlalchemy import insert
from sqlalchemy.exc import IntegrityError

from fleet.store import (
    Base,
    ColdTarget,
    Event,
    Line,
    Meter,
    Move,
    Placement,
    Reading,
    RunningCheck,
    Setting,
    Station,
    Support,
    SupportTemperature,
    Tolerance,
    VisitSession,
)
from fleet.store.engine import Store


@pytest.fixture
def ids(store: Store) -> Ids:
    return fill(store)


def put(store: Store, model: type[Base], **values: object) -> None:
    with store.write() as session:
        session.execute(insert(model), [values])


def refused(store: Store, constraint: str, model: type[Base], **values: object) -> None:
    """Assert that a constraint of that name refuses (SQLite names columns instead where an index is unique)."""
    with pytest.raises(IntegrityError) as told:
        put(store, model, **values)
    text = str(told.value.orig)
    assert constraint in text or (constraint.startswith("uq_") and "UNIQUE constraint failed" in text), text


def test_row_that_refers_to_nothing_is_refused(store: Store) -> None:
    with pytest.raises(IntegrityError, match=r"(?i)foreign key"):
        put(store, Station, line_id=999, code="S1", distance_mm=1.0)


def test_whole_lines_tolerance_stands_once_per_axis_measure_and_day(store: Store, ids: Ids) -> None:
    base = {"line_id": ids.line, "axis": "v", "limit_um": 150.0}
    refused(store, "uq_tolerance_key", Tolerance, **base)
    refused(store, "uq_tolerance_key", Tolerance, **base, measure="offset")
    put(store, Tolerance, **base, measure="bow")
    put(store, Tolerance, **base, from_on=date(2024, 1, 1))
    put(store, Tolerance, **base, station_id=ids.station)
    refused(store, "uq_tolerance_key", Tolerance, **base, from_on=date(2024, 1, 1))
    refused(store, "uq_tolerance_key", Tolerance, **base, station_id=ids.station)


def test_general_setting_stands_once_per_name_and_day(store: Store, ids: Ids) -> None:
    refused(store, "uq_setting_key", Setting, name="cap", value="0.3")
    put(store, Setting, name="cap", value="0.3", site_id=1)
    put(store, Setting, name="cap", value="0.3", from_on=date(2024, 1, 1))
    refused(store, "uq_setting_key", Setting, name="cap", value="0.4", site_id=1)
    assert ids.line


def test_move_before_any_survey_stands_once_per_support_and_place(store: Store, ids: Ids) -> None:
    base = {"session_id": ids.draft["session"], "unit": "um"}
    put(store, Move, **base, support_id=ids.support)
    put(store, Move, **base, place="flange")
    put(store, Move, **base, place="gearbox_feet")
    refused(store, "uq_move_key", Move, **base, support_id=ids.support)
    refused(store, "uq_move_key", Move, **base, place="flange")
    refused(store, "ck_move_support_or_place", Move, **base)
    refused(store, "ck_move_support_or_place", Move, **base, support_id=ids.support, place="flange")


def test_event_at_no_station_or_support_stands_once(store: Store, ids: Ids) -> None:
    base = {"line_id": ids.line, "happened_at": NOON, "kind": "struck"}
    refused(store, "uq_event_key", Event, **base)
    put(store, Event, **base, station_id=ids.station)
    put(store, Event, **base, support_id=ids.support)
    refused(store, "uq_event_key", Event, **base, support_id=ids.support)


def test_support_temperature_belongs_to_a_survey_or_to_a_running_check(store: Store, ids: Ids) -> None:
    base = {"support_id": ids.support, "barrel_c": 20.0}
    name = "ck_support_temperature_survey_or_running_check"
    refused(store, name, SupportTemperature, **base)
    refused(store, name, SupportTemperature, **base, line_id=ids.line)
    refused(store, name, SupportTemperature, **base, survey_id=ids.draft["survey"], line_id=ids.line, checked_at=NOON)
    refused(store, "uq_support_temperature_key", SupportTemperature, **base, line_id=ids.line, checked_at=NOON)
    refused(store, "uq_support_temperature_key", SupportTemperature, **base, survey_id=ids.draft["survey"])


def test_same_moment_and_station_has_one_running_check(store: Store, ids: Ids) -> None:
    base = {"line_id": ids.line, "station_id": ids.station, "v_rise_entered": "1", "unit": "um", "v_rise_um": 1.0}
    refused(store, "uq_running_check_key", RunningCheck, **base, checked_at=NOON)
    put(store, RunningCheck, **base, checked_at=datetime(2024, 3, 5, 12, tzinfo=UTC))


OF_LINE: dict[str, object] = {"line_id": 1}
VISIT: dict[str, object] = {"code": "B", "line_id": 1, "started_at": NOON}


@pytest.mark.parametrize(
    ("constraint", "model", "values"),
    [
        ("ck_line_weight_not_negative", Line, {"code": "B", "weight": -1.0}),
        ("ck_line_cold_reference_c_in_bounds", Line, {"code": "B", "cold_reference_c": 601.0}),
        ("ck_support_saddle_known", Support, {**OF_LINE, "code": "U2", "distance_mm": 1.0, "saddle": "cradle"}),
        (
            "ck_support_vee_angle_deg_in_bounds",
            Support,
            {**OF_LINE, "code": "U2", "distance_mm": 1.0, "vee_angle_deg": 180.0},
        ),
        ("ck_station_distance_mm_in_bounds", Station, {**OF_LINE, "code": "S2", "distance_mm": 20_000.5}),
        ("ck_station_distance_mm_in_bounds", Station, {**OF_LINE, "code": "S2", "distance_mm": -0.5}),
        (
            "ck_meter_running_hours_not_negative",
            Meter,
            {**OF_LINE, "read_at": datetime(2025, 1, 1, tzinfo=UTC), "running_hours": -1.0},
        ),
        (
            "ck_tolerance_watch_not_above_limit",
            Tolerance,
            {**OF_LINE, "axis": "h", "watch_um": 201.0, "limit_um": 200.0},
        ),
        ("ck_tolerance_axis_known", Tolerance, {**OF_LINE, "axis": "x", "limit_um": 200.0}),
        ("ck_session_signed_by_somebody", VisitSession, {**VISIT, "state": "signed"}),
        ("ck_session_", VisitSession, {**VISIT, "state": "done"}),
        ("ck_session_correction_with_reason", VisitSession, {**VISIT, "corrects_id": 2}),
        (
            "ck_placement_asset_of_its_kind",
            Placement,
            {**OF_LINE, "asset_kind": "screw", "gearbox_id": 1, "installed_on": date(2025, 1, 1)},
        ),
        (
            "uq_placement_gearbox_id_installed_on",
            Placement,
            {**OF_LINE, "asset_kind": "gearbox", "gearbox_id": 1, "installed_on": date(2017, 12, 10)},
        ),
        ("uq_session_code", VisitSession, {"code": "A01-02", "line_id": 1, "started_at": NOON}),
    ],
)
def test_value_outside_the_rules_is_refused(
    store: Store,
    ids: Ids,  # noqa: ARG001 - fills the record
    constraint: str,
    model: type[Base],
    values: dict[str, object],
) -> None:
    refused(store, constraint, model, **values)


@pytest.mark.parametrize("value_um", [50_000.5, -50_000.5, float("nan"), float("inf")])
def test_length_beyond_50_mm_or_not_a_number_is_refused(store: Store, ids: Ids, value_um: float) -> None:
    base = {"station_id": ids.station, "unit": "um", "v_entered": "x", "h_entered": "0", "h_um": 0.0}
    with pytest.raises(IntegrityError):
        put(store, Reading, **base, v_um=value_um, survey_id=ids.draft["survey"], sequence=2)
    with pytest.raises(IntegrityError):
        put(store, ColdTarget, **base, v_um=value_um, session_id=ids.draft["session"])


def test_length_of_exactly_50_mm_is_taken(store: Store, ids: Ids) -> None:
    values = {"station_id": ids.station, "unit": "mm", "v_entered": "50", "h_entered": "-50"}
    put(store, Reading, **values, v_um=50_000.0, h_um=-50_000.0, survey_id=ids.draft["survey"], sequence=2)


def test_every_constraint_and_index_follows_the_naming() -> None:
    for table in Base.metadata.sorted_tables:
        for item in (*table.constraints, *table.indexes):
            name = str(item.name)
            assert name == name.lower()
            assert name.split("_")[0] in {"pk", "fk", "uq", "ck", "ix"}, name
            assert len(name) <= 63, f"PostgreSQL cuts {name}"
