"""One visit read back from real stores: what was typed to the letter, its day, the band of that day, its chain."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from typing import Any

import pytest
from plotly.utils import PlotlyJSONEncoder
from record_sources import NOW, rows_of, to_um

from dashboard.address import Address
from dashboard.pages.session import session_page
from fleet.errors import NotFoundError
from fleet.reports import session_html
from fleet.reports import session_words as say
from fleet.services.labels import label_sheet
from fleet.services.line_page import line_view
from fleet.services.session_page import session_record
from fleet.store.engine import Store

Make = Callable[..., Store]


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def shown(body: Any) -> str:
    """Return what a page would send to the browser, with its letters as they are."""
    return plain(json.dumps(json.loads(json.dumps(body, cls=PlotlyJSONEncoder)), ensure_ascii=False))


def one_visit(zone: str, started_at: str, **files: str) -> Mapping[str, str]:
    """Return a source: a line at a site of some zone, visited once and surveyed as-found; `files` replace or add."""
    source = {
        "sites": f"site,name,time_zone\nS,Somewhere,{zone}\n",
        "lines": "line,site\nT1,S\n",
        "stations": "line,station,distance_mm\nT1,S1,1000\nT1,S2,2000\n",
        "sessions": f"session,line,started_at\nV1,T1,{started_at}\n",
        "surveys": "session,survey,phase\nV1,1,as_found\n",
        "offsets": "session,survey,station,v,h,unit,u_v,u_h\nV1,1,S1,-40,10,um,5,5\nV1,1,S2,-60,0,um,5,5\n",
    }
    return {**source, **files}


@pytest.mark.parametrize("session", ["C01-01", "C01-09", "C03-05", "C04-02"])
def test_everything_that_was_typed_stands_to_the_letter(mill_c: Store, session: str) -> None:
    record = session_record(mill_c, session, now=NOW)
    own = {sheet: [row for row in rows_of("mill-c", sheet) if row.get("session") == session] for sheet in
           ("readings", "moves", "cold_targets", "findings", "surveys", "offsets")}  # fmt: skip
    got = [
        (str(survey.number), str(r.sequence), r.station, f"{r.beam_roll_deg:g}", *r.typed, r.unit)
        for survey in record.surveys
        for r in survey.readings
    ]
    asked = ("survey", "sequence", "station", "beam_roll_deg", "v", "h", "unit")
    assert got == [tuple(row[name] for name in asked) for row in own["readings"]]
    assert len(record.surveys) == len(own["surveys"]) > 0
    moves = {(str(move.after), move.support or move.place or ""): move for move in record.moves}
    for row in own["moves"]:
        move = moves[row["after_survey"], row["support"]]
        assert (move.typed, move.unit) == ((row["v"] or None, row["h"] or None), row["unit"])
        assert move.moved_um[0] == pytest.approx(to_um(row["v"], row["unit"]))
    assert len(record.moves) == len(own["moves"])
    assert {(t.station, *t.typed) for t in record.targets} == {
        (r["station"], r["v"], r["h"]) for r in own["cold_targets"]
    }
    assert {(f.item, f.value) for f in record.findings} == {(r["item"], r["value"] or None) for r in own["findings"]}
    assert sum(len(survey.entered) for survey in record.surveys) == len(own["offsets"])


def test_a_visit_that_holds_readings_moves_targets_and_findings_is_among_them() -> None:
    counts = [sum(row["session"] in ("C01-01", "C01-02", "C01-09") for row in rows_of("mill-c", sheet)) for sheet in
              ("readings", "moves", "cold_targets", "findings")]  # fmt: skip
    assert min(counts) > 0


def test_supports_own_temperatures_stand_with_their_survey(mill_c: Store) -> None:
    record = session_record(mill_c, "C03-05", now=NOW)
    assert [(w.support, w.barrel_c, w.base_c) for w in record.surveys[0].supports][:2] == [
        ("U1", 82.0, 24.0), ("U2", 91.0, 24.0),
    ]  # fmt: skip


def test_the_calibration_is_the_one_that_held_on_the_day(mill_c: Store) -> None:
    # I-11 was calibrated on 12 Feb 2014 and again on 12 Feb 2015; C01-02 is of 18 Feb 2015. I-12 was first calibrated
    # on 4 May 2014, after C01-01 of 11 March.
    held = session_record(mill_c, "C01-02", now=NOW).instrument
    assert held is not None
    assert (held.serial, held.calibrated_on, held.due_on, held.covered) == (
        "I-11", date(2015, 2, 12), date(2016, 3, 12), True,
    )  # fmt: skip
    early = session_record(mill_c, "C01-01", now=NOW).instrument
    assert early is not None
    assert (early.serial, early.calibrated_on, early.covered) == ("I-12", None, False)


def test_offsets_are_those_the_command_gives(mill_c: Store) -> None:
    # An entered offset is its own reduction: C04's came in as results, in millimetres.
    typed = [row for row in rows_of("mill-c", "offsets") if row["session"] == "C04-02" and row["survey"] == "1"]
    record = session_record(mill_c, "C04-02", now=NOW)
    got = {offset.station: offset.measured_um for offset in record.surveys[0].offsets}
    assert got == {row["station"]: pytest.approx((1000 * float(row["v"]), 1000 * float(row["h"]))) for row in typed}


def test_the_source_and_its_digest_are_those_the_signature_names(mill_c: Store) -> None:
    record = session_record(mill_c, "C01-01", now=NOW)
    assert record.source is not None
    assert re.fullmatch("[0-9a-f]{64}", record.source.sha256)
    assert f"sha256 {record.source.sha256}" in (record.signed_by or "")
    assert (record.source.file_name, record.source.taken_by) == ("mill-c", "tester")


def test_an_unknown_visit_is_a_sentence(mill_c: Store) -> None:
    with pytest.raises(NotFoundError, match="There is no session 'C01-99' in the store"):
        session_record(mill_c, "C01-99", now=NOW)


LATE = [
    # (zone, written at the site, the day at the site, the moment in UTC): offsets from the IANA database.
    ("Asia/Tokyo", "2025-07-01T00:20", "1 Jul 2025", datetime(2025, 6, 30, 15, 20, tzinfo=UTC)),
    ("Asia/Tokyo", "2025-06-30T23:40", "30 Jun 2025", datetime(2025, 6, 30, 14, 40, tzinfo=UTC)),
    ("America/Los_Angeles", "2025-01-31T23:40", "31 Jan 2025", datetime(2025, 2, 1, 7, 40, tzinfo=UTC)),
    ("America/Los_Angeles", "2025-06-30T23:40", "30 Jun 2025", datetime(2025, 7, 1, 6, 40, tzinfo=UTC)),
    # Clocks go forward at 02:00 on 9 March 2025, the second Sunday: 23:40 the day before is UTC-8, that evening UTC-7.
    ("America/Los_Angeles", "2025-03-08T23:40", "8 Mar 2025", datetime(2025, 3, 9, 7, 40, tzinfo=UTC)),
    ("America/Los_Angeles", "2025-03-09T23:40", "9 Mar 2025", datetime(2025, 3, 10, 6, 40, tzinfo=UTC)),
]


@pytest.mark.parametrize(("zone", "written", "day", "moment"), LATE)
def test_a_late_visit_stays_on_its_day_on_page_report_and_line(
    store_of: Make, zone: str, written: str, day: str, moment: datetime
) -> None:
    store = store_of(one_visit(zone, written))
    record = session_record(store, "V1", now=NOW)
    assert record.started_at == moment
    clock = written[-5:]
    said = f"{day}, {clock} ({zone}, "
    page = shown(session_page(record, Address(page="session", code="V1")).body)
    assert said in page
    assert f"Times are those of {zone}" in page
    paper = plain(session_html.render(record, "mm"))
    assert said in paper
    assert f"times of {zone}" in paper
    (visit,) = line_view(store, "T1", now=NOW).sessions
    assert (plain(say.at(visit.at)), visit.at.date().isoformat()) == (f"{day}, {clock}", written[:10])


def test_a_visit_through_the_night_the_clocks_go_back_tells_its_two_offsets(store_of: Make) -> None:
    # Los Angeles, 2 Nov 2025, the first Sunday: 01:30 comes twice, first in UTC-7, an hour later in UTC-8.
    source = one_visit(
        "America/Los_Angeles",
        "2025-11-02T01:30-07:00",
        surveys="session,survey,phase,measured_at\nV1,1,as_found,2025-11-02T01:10-08:00\n",
    )
    record = session_record(store_of(source), "V1", now=NOW)
    assert say.zone_words(record) == "America/Los_Angeles, UTC−7"
    assert plain(dict(say.conditions(record, record.surveys[0], "mm"))["Taken"]) == "01:10 (UTC−8)"


def test_the_limit_is_the_one_of_the_visits_day_at_the_site(store_of: Make) -> None:
    # At 23:40 on 31 January in Los Angeles it is 1 February in UTC: the new limit does not count yet.
    tolerances = "line,axis,from_on,watch_um,limit_um\nT1,v,2024-01-01,60,120\nT1,v,2025-02-01,30,50\n"
    record = session_record(
        store_of(one_visit("America/Los_Angeles", "2025-01-31T23:40", tolerances=tolerances)), "V1", now=NOW
    )
    assert {(o.watch_um, o.limit_um) for o in record.surveys[0].offsets} == {((60.0, None), (120.0, None))}
    later = session_record(
        store_of(one_visit("America/Los_Angeles", "2025-02-01T00:20", tolerances=tolerances)), "V1", now=NOW
    )
    assert {o.limit_um for o in later.surveys[0].offsets} == {(50.0, None)}


def chain_source() -> Mapping[str, str]:
    """Return a visit, its correction with another target, a withdrawal of that, and a visit after it."""
    return one_visit(
        "Europe/London",
        "2025-05-01T08:00",
        sessions=(
            "session,line,started_at,corrects,correction_reason\n"
            "V1,T1,2025-05-01T08:00,,\nV2,T1,2025-05-01T08:00,V1,sign of S1\nV3,T1,2025-05-01T08:00,V2,another line\n"
            "V0,T1,2025-04-01T08:00,,\nV9,T1,2025-06-01T08:00,,\n"
        ),
        surveys="session,survey,phase\nV1,1,as_found\nV2,1,as_found\nV0,1,as_left\n",
        offsets=(
            "session,survey,station,v,h,unit,u_v,u_h\nV0,1,S1,0,0,um,5,5\nV1,1,S1,40,10,um,5,5\nV2,1,S1,-40,10,um,5,5\n"
        ),
        cold_targets="session,station,v,h,unit\nV0,S1,-20,0,um\nV2,S1,-30,0,um\nV9,S1,-90,0,um\n",
    )


def test_the_chain_leads_from_the_first_record_to_the_one_that_counts(store_of: Make) -> None:
    store = store_of(chain_source())
    records = {code: session_record(store, code, now=NOW) for code in ("V1", "V2", "V3")}
    for record in records.values():
        assert [(link.session, link.reason, link.surveys) for link in record.chain] == [
            ("V1", None, 1), ("V2", "sign of S1", 1), ("V3", "another line", 0),
        ]  # fmt: skip
    assert [(r.corrects, r.corrected_by) for r in records.values()] == [(None, "V2"), ("V1", "V3"), ("V2", None)]
    assert "withdrawn" in say.what_replaced(records["V2"])
    assert "withdraws the visit" in say.outcome(records["V3"], "mm")[0][0]


def test_a_visit_is_judged_by_the_target_of_its_day_and_a_replaced_one_by_its_own(store_of: Make) -> None:
    store = store_of(chain_source())
    aims = {code: session_record(store, code, now=NOW).surveys[0].offsets[0] for code in ("V0", "V1", "V2")}
    # V1 decided none: V0's of a month before stood, V9's of a month after did not yet. V2 decided -30 um; it is
    # replaced, so it counts for no other.
    assert {code: aim.target_um[0] for code, aim in aims.items()} == {"V0": -20.0, "V1": -20.0, "V2": -30.0}
    assert (aims["V1"].deviation_um[0], aims["V2"].deviation_um[0]) == (60.0, -10.0)


@pytest.mark.parametrize(("zone", "day"), [("Asia/Tokyo", "2 Nov 2026"), ("America/Los_Angeles", "1 Nov 2026")])
def test_every_paper_says_as_of_when_in_the_sites_time(store_of: Make, zone: str, day: str) -> None:
    from fleet.reports import job_sheet_html, labels_html
    from fleet.services.job_sheet import job_sheet

    now = datetime(2026, 11, 1, 20, 30, tzinfo=UTC)  # 05:30 the next day in Tokyo, 12:30 in Los Angeles (PST)
    store = store_of(one_visit(zone, "2025-05-01T08:00"))
    clock = {"Asia/Tokyo": "05:30", "America/Los_Angeles": "12:30"}[zone]
    papers: dict[str, Any] = {
        f"data as of {day}, {clock}": session_html.render(session_record(store, "V1", now=now), "mm"),
        f"as of {day}": job_sheet_html.render(job_sheet(store, "T1", now=now), "mm"),
        f"record of {day}": labels_html.render(label_sheet(store, now=now)),
    }
    assert [said for said, html in papers.items() if said not in plain(html)] == []
