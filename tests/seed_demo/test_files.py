"""The written folder keeps the exchange format's rules: files, columns, keys, numbers, references and times."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from demo_records import TODAY, Demo, read

import seed_demo

# The exchange format's columns; * required, ! part of the key.
FORMAT = {
    "sites": "site*! name time_zone",
    "lines": "line*! site description screw_diameter_mm commissioned_on running_hours_per_year foundation"
    " cold_reference_c right_hand_side feed_section_mm weight"
    " visit_hours visit_cost_days cool_down_h heat_up_h screw_pull_h",
    "gearboxes": "gearbox*! frame hollow_shaft_bore_mm centre_height_mm expansion_per_k",
    "barrels": "barrel*! bore_mm outside_diameter_mm length_mm expansion_per_k",
    "screws": "screw*! diameter_mm length_mm",
    "placements": "line* asset_kind* asset*! installed_on*! removed_on",
    "supports": "line*! support*! distance_mm* height_mm saddle vee_angle_deg carries slides adjusts_v adjusts_h"
    " v_step_um base_expansion_per_k added_on removed_on",
    "stations": "line*! station*! distance_mm* support bore segment added_on removed_on",
    "instruments": "instrument*! kind resolution_um repeatability_um target_zero_um beam_offset_um"
    " beam_direction_um_per_m wander_um sense_v sense_h",
    "calibrations": "instrument*! calibrated_on*! due_on certificate",
    "tolerances": "line*! station! axis*! measure! from_on! watch_um limit_um* set_within_um basis",
    "settings": "site! name*! value* from_on!",
    "sessions": "session*! line* started_at* reason outage technician instrument work_order running_hours ambient_c"
    " remarks corrects correction_reason",
    "surveys": "session*! survey*! phase* measured_at instrument barrel_c gearbox_c gearbox_c_at base_c"
    " gearbox_level_um_per_m axis_by bolts screw die heats_off_h remarks",
    "readings": "session*! survey*! sequence*! station* beam_state beam_roll_deg target_roll_deg v* h* unit* taken_at",
    "offsets": "session*! survey*! station*! v* h* unit* u_v u_h",
    "moves": "session*! after_survey! support*! v h unit* room_up room_down how",
    "cold_targets": "session*! station*! v* h* unit* basis reason",
    "findings": "session*! item*! value unit note",
    "running_checks": "line*! checked_at*! station*! v_rise* h_rise unit* u relative_to gearbox_rise barrel_c gearbox_c"
    " gearbox_c_at base_c zero_barrel_c zero_gearbox_c zero_base_c hours_since_heats_on screw die method technician",
    "support_temperatures": "session! survey! line! checked_at! support*! barrel_c base_c",
    "meters": "line*! read_at*! running_hours* starts",
    "wear": "asset_kind*! asset*! measured_at*! distance_mm*! diameter_v diameter_h unit* method",
    "events": "line*! happened_at*! kind*! note resets_trend station! support!",
    "outages": "outage*! site line kind starts_at* ends_at* crew_hours crews state",
}
CLOSED = {
    "phase": {"as_found", "interim", "as_left", "hot"},
    "unit": {"um", "mm", "in", "thou"},
    "axis": {"v", "h"},
    "measure": {"offset", "slope", "bow"},
    "saddle": {"vee", "flat", "centreline", "plate"},
    "carries": {"rigid", "floating"},
    "slides": {"fixed", "slides", "rolls", "flexes"},
    "asset_kind": {"gearbox", "barrel", "screw"},
    "state": {"planned", "done", "cancelled"},
    "sense_v": {"bore_from_beam", "beam_from_bore"},
    "sense_h": {"bore_from_beam", "beam_from_bore"},
    "gearbox_c_at": {"casing_mean", "oil"},
    "axis_by": {"shaft_turned", "fixture_turned", "bore_centred"},
    "bolts": {"torqued", "loose"},
    "die": {"on", "off"},
    "relative_to": {"gearbox_axis", "floor"},
    "adjusts_v": {"yes", "no"},
    "adjusts_h": {"yes", "no"},
    "resets_trend": {"yes", "no"},
}
NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")
NUMERIC = re.compile(
    r"(_um|_um_per_m|_mm|_c|_h|_deg|_per_k|_per_year|_days|_hours)$|^(v|h|u|u_v|u_h|v_rise|h_rise|gearbox_rise"
    r"|room_up|room_down|weight|crews|starts|bore|sequence|diameter_v|diameter_h)$"
)


def test_same_seed_and_day_give_the_same_bytes(demo: Demo, tmp_path: Path) -> None:
    seed_demo.write(tmp_path, seed=7, today=TODAY)
    again = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    assert again == {p.name: p.read_bytes() for p in demo.folder.iterdir()}


def test_another_seed_gives_other_readings_of_the_same_plant(demo: Demo, tmp_path: Path) -> None:
    seed_demo.write(tmp_path, seed=8, today=TODAY)
    assert (tmp_path / "readings.csv").read_bytes() != (demo.folder / "readings.csv").read_bytes()
    assert (tmp_path / "lines.csv").read_bytes() == (demo.folder / "lines.csv").read_bytes()


def test_every_file_and_column_is_one_of_the_exchange_format(demo: Demo) -> None:
    for name, rows in demo.tables.items():
        allowed = [c.rstrip("*!") for c in FORMAT[name].split()]
        assert set(rows[0]) <= set(allowed), name
        required = [c.rstrip("*!") for c in FORMAT[name].split() if "*" in c]
        assert [(name, c, row) for row in rows for c in required if not row[c]] == []


def test_every_key_stands_once(demo: Demo) -> None:
    for name, rows in demo.tables.items():
        key = [c.rstrip("*!") for c in FORMAT[name].split() if "!" in c]
        counts = Counter(tuple(row.get(c, "") for c in key) for row in rows)
        assert [k for k, n in counts.items() if n > 1] == [], name


def test_numbers_are_plain_decimals_and_closed_words_are_the_formats_own(demo: Demo) -> None:
    wrong = []
    for name, rows in demo.tables.items():
        for row in rows:
            for column, text in row.items():
                if text and column in CLOSED and text not in CLOSED[column]:
                    wrong.append((name, column, text))
                if text and column not in CLOSED and NUMERIC.search(column) and not NUMBER.fullmatch(text):
                    wrong.append((name, column, text))
    assert wrong == []


def test_lengths_keep_within_the_formats_bounds(demo: Demo) -> None:
    per = {"um": 1.0, "mm": 1000.0, "thou": 25.4}
    for name in ("readings", "offsets", "moves", "cold_targets"):
        for row in demo.tables[name]:
            assert max(abs(float(row["v"])), abs(float(row["h"]))) * per[row["unit"]] <= 50_000


def test_whatever_is_named_exists_and_was_there_in_time(demo: Demo) -> None:
    t = demo.tables
    lines = {r["line"]: r for r in t["lines"]}
    stations = {(r["line"], r["station"]): r for r in t["stations"]}
    supports = {(r["line"], r["support"]) for r in t["supports"]}
    sessions = {r["session"]: r for r in t["sessions"]}
    surveys = {(r["session"], r["survey"]) for r in t["surveys"]}
    instruments = {r["instrument"] for r in t["instruments"]}
    outages = {r["outage"]: r for r in t["outages"]}
    assert {r["site"] for r in t["lines"]} == {r["site"] for r in t["sites"]}
    assert all((r["line"], r["support"]) in supports for r in t["stations"] if r["support"])
    for row in t["sessions"]:
        assert row["line"] in lines
        assert row["instrument"] in instruments
        stop = outages[row["outage"]]
        assert stop["site"] == lines[row["line"]]["site"]
        assert stop["starts_at"] <= row["started_at"] <= stop["ends_at"]
        assert stop["state"] == "done"
    for row in t["readings"] + t["offsets"]:
        session = sessions[row["session"]]
        assert (row["session"], row["survey"]) in surveys
        assert stations[session["line"], row["station"]]["added_on"] <= session["started_at"][:10]
    for row in t["moves"]:
        assert (sessions[row["session"]]["line"], row["support"]) in supports
        assert (row["session"], row["after_survey"]) in surveys
    for row in t["cold_targets"]:
        assert (sessions[row["session"]]["line"], row["station"]) in stations
    for row in t["running_checks"]:
        assert (row["line"], row["station"]) in stations
    for row in t["findings"]:
        assert row["session"] in sessions


def test_a_survey_has_readings_or_offsets_and_readings_an_instrument_with_both_senses(demo: Demo) -> None:
    t = demo.tables
    read = {(r["session"], r["survey"]) for r in t["readings"]}
    entered = {(r["session"], r["survey"]) for r in t["offsets"]}
    assert read & entered == set()
    assert read | entered == {(r["session"], r["survey"]) for r in t["surveys"]}
    with_senses = {r["instrument"] for r in t["instruments"] if r["sense_v"] and r["sense_h"]}
    used = {r["session"]: r["instrument"] for r in t["sessions"]}
    assert {used[session] for session, _ in read} <= with_senses


def test_placements_of_one_kind_follow_one_another_without_overlap(demo: Demo) -> None:
    by_place: dict[tuple[str, str], list[tuple[str, str]]] = defaultdict(list)
    for row in demo.tables["placements"]:
        by_place[row["line"], row["asset_kind"]].append((row["installed_on"], row["removed_on"] or "9999"))
    for spans in by_place.values():
        spans.sort()
        assert all(a[1] <= b[0] for a, b in pairwise(spans))
        assert all(start < end for start, end in spans)
    assert len({r["asset"] for r in demo.tables["placements"]}) == len(demo.tables["placements"])
    owned = {kind: {r[kind] for r in demo.tables[table]} for kind, table in
             (("gearbox", "gearboxes"), ("barrel", "barrels"), ("screw", "screws"))}  # fmt: skip
    assert all(r["asset"] in owned[r["asset_kind"]] for r in demo.tables["placements"])


def test_what_happened_lies_before_today_and_each_site_has_stops_ahead(demo: Demo) -> None:
    t, now = demo.tables, TODAY.isoformat()
    for table, column in (
        ("sessions", "started_at"), ("running_checks", "checked_at"), ("meters", "read_at"), ("events", "happened_at"),
        ("calibrations", "calibrated_on"), ("wear", "measured_at"),
    ):  # fmt: skip
        assert max(r[column] for r in t[table]) < now, table
    ahead = [r for r in t["outages"] if r["state"] == "planned"]
    latest = (TODAY + timedelta(days=430)).isoformat()
    assert all(now < r["starts_at"] < r["ends_at"] and r["starts_at"] < latest for r in ahead)
    assert all(2 <= n <= 5 for n in Counter(r["site"] for r in ahead).values())
    assert len(Counter(r["site"] for r in ahead)) == 3


@pytest.mark.parametrize("today", [date(2026, 11, 25), date(2026, 3, 29), date(2028, 2, 29)])
def test_every_local_time_exists_once_at_its_site(tmp_path: Path, today: date) -> None:
    seed_demo.write(tmp_path, today=today)
    t = read(tmp_path)
    zone = {r["line"]: next(s["time_zone"] for s in t["sites"] if s["site"] == r["site"]) for r in t["lines"]}
    site_zone = {r["site"]: r["time_zone"] for r in t["sites"]}
    local = [(r["started_at"], zone[r["line"]]) for r in t["sessions"]]
    local += [(r["checked_at"], zone[r["line"]]) for r in t["running_checks"]]
    local += [(r[c], site_zone[r["site"]]) for r in t["outages"] if r["site"] for c in ("starts_at", "ends_at")]
    for text, name in local:
        early = datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(name))
        assert early.astimezone(UTC).astimezone(early.tzinfo) == early
        assert early.utcoffset() == early.replace(fold=1).utcoffset()
    assert max(text for text, _ in local[: len(t["sessions"])]) < today.isoformat()


def test_a_correction_keeps_line_and_start_and_says_why(demo: Demo) -> None:
    sessions = {r["session"]: r for r in demo.tables["sessions"]}
    corrections = [r for r in sessions.values() if r["corrects"]]
    assert len(corrections) == 1
    for row in corrections:
        original = sessions[row["corrects"]]
        assert (row["started_at"], row["line"]) == (original["started_at"], original["line"])
        assert row["correction_reason"]


def test_the_fleet_has_the_variety_asked_of_it(demo: Demo) -> None:
    t = demo.tables
    assert len(t["lines"]) == 25
    assert len({r["time_zone"] for r in t["sites"]}) == 3
    assert {r["unit"] for r in t["readings"]} == {"um", "mm", "thou"}
    assert {r["saddle"] for r in t["supports"]} == {"vee", "flat", "centreline"}
    assert {r["beam_roll_deg"] for r in t["readings"]} == {"0", "90", "180", "270"}
    assert {r["target_roll_deg"] for r in t["readings"]} == {"0", "180"}
    assert {r["beam_state"] for r in t["readings"]} == {"1", "2"}
    assert {r["measure"] for r in t["tolerances"]} == {"offset", "slope"}
    assert t["offsets"]
    assert t["meters"]
    surveyed = {r["line"] for r in t["sessions"]}
    assert {r["line"] for r in t["lines"]} - surveyed == {"VES-09"}
    for row in t["lines"]:
        assert 60 <= float(row["screw_diameter_mm"]) <= 150
        years = (TODAY - date.fromisoformat(row["commissioned_on"])).days / 365.25
        assert 6 <= years <= 12 or row["line"] == "VES-09"
