"""Taking sources in: whole or not at all, the same content never twice, what is known treated by its kind."""

from __future__ import annotations

import csv
import json
import random
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from intake_sources import MILLS, SOUND, TODAY
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from fleet.intake import IntakeError, Source, export, read_folder, take
from fleet.intake.loading import Library, load
from fleet.intake.parsing import Places
from fleet.store import (
    AuditEntry,
    Barrel,
    Finding,
    Intake,
    Line,
    Meter,
    Outage,
    Placement,
    Reading,
    Setting,
    Station,
    Survey,
    VisitSession,
)
from fleet.store.engine import Store

Folder = Callable[..., Path]
Census = Callable[[Store], dict[str, int]]
NOW = datetime(2026, 11, 1, 9, tzinfo=UTC)


def shuffled(source: Path, target: Path, seed: int) -> Path:
    """Copy a source with its rows, columns and separators in another order."""
    target.mkdir()
    dice = random.Random(seed)
    for path in source.glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as file:
            separator = ";" if path.name == "offsets.csv" else ","
            header, *rows = csv.reader(file, delimiter=separator)
        order = list(range(len(header)))
        dice.shuffle(order)
        dice.shuffle(rows)
        with (target / path.name).open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file, delimiter=separator)
            writer.writerows([[row[at] for at in order] for row in [header, *rows]])
    return target


def rows_of(folder: Path) -> dict[str, int]:
    counts = {}
    for path in folder.glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as file:
            counts[path.stem] = len(list(csv.reader(file))) - 1
    return counts


def test_the_three_mills_go_into_one_store_and_a_second_time_changes_nothing(
    store: Store, census: Census, tmp_path: Path
) -> None:
    for mill in ("mill-a", "mill-b", "mill-c"):
        result = take(store, MILLS / mill, who="ann", today=TODAY)
        assert dict(result.taken) == rows_of(MILLS / mill)
        assert not result.nothing_new
    with store.read() as session:
        states = set(session.execute(select(VisitSession.state)).scalars())
        assert states == {"signed"}
    before = census(store)
    assert before["session"] == 191 + 197 + 60
    assert before["data_version"] == 3
    for seed, mill in enumerate(("mill-a", "mill-b", "mill-c")):
        again = take(store, MILLS / mill, who="bob", today=TODAY)
        mixed = take(store, shuffled(MILLS / mill, tmp_path / mill, seed), who="bob", today=TODAY)
        for result in (again, mixed):
            assert result.nothing_new
            assert not result.taken
            assert result.changes == ()
    assert census(store) == before


def test_each_value_of_mill_c_is_in_the_store_by_its_meaning(sqlite_store: Store) -> None:
    take(sqlite_store, MILLS / "mill-c", who="ann", today=TODAY)
    with sqlite_store.read() as session:
        reading = session.execute(
            select(Reading)
            .join(Survey, Survey.id == Reading.survey_id)
            .join(VisitSession, VisitSession.id == Survey.session_id)
            .where(VisitSession.code == "C01-01", Survey.number == 1, Reading.sequence == 2)
        ).scalar_one()
        # readings.csv row 3: C01-01,1,2,P1,1,180,0,-2.7,2.0,thou,2014-03-11T08:47; 1 thou is 25.4 um
        assert (reading.v_um, reading.h_um) == (pytest.approx(-68.58), pytest.approx(50.8))
        assert (reading.v_entered, reading.h_entered, reading.unit) == ("-2.7", "2.0", "thou")
        assert reading.beam_roll_deg == 180
        assert reading.taken_at == datetime(2014, 3, 11, 8, 47, tzinfo=UTC)
        starts = dict(session.execute(select(Outage.code, Outage.starts_at)).all())
        # Quayle End works keeps London time: summer time on 2025-10-24, and on 2027-03-26 not yet
        assert starts["QE-2025-10"] == datetime(2025, 10, 24, 21, tzinfo=UTC)
        assert starts["QE-2027-03"] == datetime(2027, 3, 26, 22, tzinfo=UTC)
        remarks = dict(session.execute(select(VisitSession.code, VisitSession.remarks)).all())
        assert remarks["C01-04"] == "=SUM(A1) stood on the old sheet"
        assert remarks["C01-02"] == "first line\nsecond line\n- third"
        assert remarks["C01-03"] == "went well 👍🏽"


def test_sessions_are_signed_by_the_importer_with_the_digest_and_the_audit_has_one_entry(
    folder: Folder, sqlite_store: Store
) -> None:
    source = folder()
    digest = read_folder(source).sha256
    result = take(sqlite_store, source, who="ann", today=TODAY, now=NOW)
    assert result.sha256 == digest
    with sqlite_store.read() as session:
        signed = session.execute(select(VisitSession.signed_by, VisitSession.signed_at)).all()
        assert set(signed) == {(f"ann (import, sha256 {digest})", NOW)}
        (entry,) = session.execute(select(AuditEntry)).scalars()
        told = json.loads(entry.after or "")
        assert (entry.who, entry.at, told["sha256"], told["taken"]["readings"]) == ("ann", NOW, digest, 2)
        (intake,) = session.execute(select(Intake)).scalars()
        assert (intake.sha256, intake.taken_by, intake.rows_taken) == (digest, "ann", sum(result.taken.values()))


def test_what_signing_would_ask_is_noted_and_refuses_nothing(folder: Folder, sqlite_store: Store) -> None:
    surveys = (
        "session,survey,phase,barrel_c,gearbox_c,bolts\n"
        "V1,1,as_found,,,\nV2,1,as_left,20,20,loose\nV3,1,as_found,20,20,\n"
    )
    result = take(sqlite_store, folder({"surveys": surveys}), who="ann", today=TODAY)
    assert result.notes == {
        "V1": (
            "instrument 'I1' has no calibration that covers 2020-06-01",
            "no barrel or gearbox temperature on survey 1",
        ),
        "V2": ("survey 1 was called as_left with loose bolts; it counts as interim",),
    }
    with sqlite_store.read() as session:
        phases = session.execute(
            select(VisitSession.code, Survey.phase).join(Survey, Survey.session_id == VisitSession.id)
        ).all()
    assert dict(phases) == {"V1": "as_found", "V2": "interim", "V3": "as_found"}


def test_content_is_compared_by_meaning(folder: Folder, sqlite_store: Store, census: Census) -> None:
    take(sqlite_store, folder(), who="ann", today=TODAY)
    before = census(sqlite_store)
    same = {
        "tolerances": "line,station,axis,measure,from_on,watch_um,limit_um\n"
        "X1,,h,offset,,50.00,+100\nX1,,v,,,050,100.0\n",
        # 0.1 mm is 100 um; an empty roll means 0; 08:00 in a London summer is 07:00 in UTC
        "readings": "session,survey,sequence,station,beam_roll_deg,v,h,unit\n"
        "V1,1.0,2,S1,180,-0.02,0.04,mm\nV1,1,1,S1,,100,20.0,um\n",
        "sessions": SOUND["sessions"].replace("2020-06-01T08:00", "2020-06-01T07:00:00Z"),
    }
    assert take(sqlite_store, folder(same), who="bob", today=TODAY).nothing_new
    assert census(sqlite_store) == before


def test_master_data_take_the_new_values_of_filled_cells_and_each_is_audited(
    folder: Folder, sqlite_store: Store
) -> None:
    take(sqlite_store, folder(), who="ann", today=TODAY, now=NOW)
    changed = {
        "lines": "line,site,description,screw_diameter_mm\nX1,,new words,90.5\nX2,,,\n",
        "stations": "line,station,distance_mm,support\nX1,S2,2510.0,U1\n",
    }
    result = take(sqlite_store, folder(changed, sound=False), who="bob", today=TODAY, now=NOW)
    assert [(c.file, c.key, c.column, c.before, c.after) for c in result.changes] == [
        ("lines.csv", "line 'X1'", "description", None, "new words"),
        ("lines.csv", "line 'X1'", "screw_diameter_mm", "90.0", "90.5"),
        ("stations.csv", "line 'X1', station 'S2'", "distance_mm", "2500.0", "2510.0"),
        ("stations.csv", "line 'X1', station 'S2'", "support", None, "U1"),
    ]
    assert result.lines == ("X1",)
    with sqlite_store.read() as session:
        line = session.execute(select(Line).where(Line.code == "X1")).scalar_one()
        assert (line.description, line.screw_diameter_mm, line.site_id is None) == ("new words", 90.5, False)
        station = session.execute(select(Station).where(Station.code == "S2")).scalar_one()
        assert (station.distance_mm, station.support_id is None) == (2510, False)
        entries = session.execute(select(AuditEntry.what, AuditEntry.before, AuditEntry.after)).all()
    assert (
        "changed lines line 'X1'",
        '{"description":null,"screw_diameter_mm":90.0}',
        '{"description":"new words","screw_diameter_mm":90.5}',
    ) in [tuple(entry) for entry in entries]


def test_a_placement_may_gain_its_end_and_its_successor_at_once_but_not_change_it(
    folder: Folder, sqlite_store: Store, census: Census
) -> None:
    take(sqlite_store, folder(), who="ann", today=TODAY)
    swap = {
        "barrels": "barrel\nB3\n",
        "placements": "line,asset_kind,asset,installed_on,removed_on\nX1,barrel,B3,2019-05-01,\n"
        "X1,barrel,B1,2015-01-01,2019-05-01\n",
    }
    result = take(sqlite_store, folder(swap, sound=False), who="ann", today=TODAY)
    assert [(c.column, c.before, c.after) for c in result.changes] == [("removed_on", None, "2019-05-01")]
    with sqlite_store.read() as session:
        ends = session.execute(select(Placement.removed_on).order_by(Placement.id)).scalars().all()
    assert [str(end) for end in ends] == ["2019-05-01", "None", "None"]
    before = census(sqlite_store)
    other = {"placements": swap["placements"].replace("2015-01-01,2019-05-01", "2015-01-01,2019-04-30")}
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, folder(other, sound=False), who="ann", today=TODAY)
    assert refused.value.problems == (
        "placements.csv row 3, column removed_on: '2019-04-30' differs from the store, which holds '2019-05-01'; "
        "a placement can only gain removed_on",
    )
    assert census(sqlite_store) == before


FACTS = {
    "meters": "line,read_at,running_hours\nX1,2020-01-01T07:00,{}\n",
    "events": "line,happened_at,kind,note\nX1,2020-01-01T07:00,struck,{}\n",
    "wear": "asset_kind,asset,measured_at,distance_mm,diameter_v,unit\nbarrel,B1,2020-01-01,400,{},mm\n",
    "running_checks": "line,checked_at,station,v_rise,unit\nX1,2020-01-01T07:00,S1,{},um\n",
    "tolerances": "line,axis,from_on,limit_um\nX1,v,2020-01-01,{}\n",
}
COLUMN = {
    "meters": "running_hours",
    "events": "note",
    "wear": "diameter_v",
    "running_checks": "v_rise",
    "tolerances": "limit_um",
}


@pytest.mark.parametrize("file", FACTS)
def test_a_dated_fact_with_other_content_is_refused(
    file: str, folder: Folder, sqlite_store: Store, census: Census
) -> None:
    take(sqlite_store, folder({file: FACTS[file].format(30)}), who="ann", today=TODAY)
    before = census(sqlite_store)
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, folder({file: FACTS[file].format(31)}, sound=False), who="ann", today=TODAY)
    holds = {"events": "30", "wear": "30000.0"}.get(file, "30.0")
    assert refused.value.problems == (
        f"{file}.csv row 2, column {COLUMN[file]}: '31' differs from the store, which holds '{holds}'; "
        "withdraw it there first",
    )
    assert census(sqlite_store) == before


def test_a_withdrawn_fact_stays_withdrawn_and_may_be_replaced(
    folder: Folder, sqlite_store: Store, tmp_path: Path
) -> None:
    first = folder({"meters": FACTS["meters"].format(30)})
    take(sqlite_store, first, who="ann", today=TODAY)
    with sqlite_store.write() as session:
        session.execute(update(Meter).values(withdrawn_at=NOW, withdrawn_by="ann", withdrawn_why="misread"))
    again = take(sqlite_store, first, who="ann", today=TODAY)
    assert again.nothing_new
    assert again.remarks == ("meters.csv row 2: this fact was withdrawn from the store and stays so",)
    right = take(sqlite_store, folder({"meters": FACTS["meters"].format(31)}, sound=False), who="ann", today=TODAY)
    assert dict(right.taken) == {"meters": 1}
    export(sqlite_store, tmp_path / "out")
    assert (
        tmp_path / "out" / "meters.csv"
    ).read_text() == "line,read_at,running_hours,starts\nX1,2020-01-01T07:00,31,\n"


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        (
            {"sessions": SOUND["sessions"].replace("V3,X2", "V3,X1")},
            "sessions.csv row 4, column line: 'X1' differs from the store, which holds 'X2'; "
            "record a session that corrects it",
        ),
        (
            {"readings": SOUND["readings"].replace("-0.02", "-0.03")},
            "readings.csv row 3: session 'V1', survey 1, sequence 2 is not so in the store, where session 'V1' "
            "is signed; record a session that corrects it",
        ),
        (
            {"findings": "session,item\nV1,soft foot\n"},
            "findings.csv row 2: session 'V1', item 'soft foot' is not so in the store, where session 'V1' is signed; "
            "record a session that corrects it",
        ),
        (
            {"readings": SOUND["readings"].removesuffix("V1,1,2,S1,180,-0.02,0.04,mm\n")},
            "sessions.csv row 2: session 'V1' is signed in the store with 2 rows of readings, here are 1; "
            "leave it as it was or record a session that corrects it",
        ),
    ],
    ids=["another line", "another number", "one more finding", "one reading less"],
)
def test_a_signed_session_with_other_content_is_refused(
    changed: dict[str, str], message: str, folder: Folder, sqlite_store: Store, census: Census
) -> None:
    take(sqlite_store, folder(), who="ann", today=TODAY)
    before = census(sqlite_store)
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, folder(changed), who="ann", today=TODAY)
    assert message in refused.value.problems
    assert census(sqlite_store) == before


def test_a_correction_comes_later_and_a_second_one_of_the_same_session_is_refused(
    folder: Folder, sqlite_store: Store
) -> None:
    take(sqlite_store, folder(), who="ann", today=TODAY)
    header = SOUND["sessions"].splitlines()[0]
    correction = {
        "sessions": f"{header}\nV2k,X1,2021-06-01T08:00,,V2,sign turned\n",
        "surveys": "session,survey,phase\nV2k,1,as_found\n",
        "offsets": "session,survey,station,v,h,unit\nV2k,1,S1,3.5,0.4,thou\n",
    }
    assert dict(take(sqlite_store, folder(correction, sound=False), who="ann", today=TODAY).taken) == {
        "sessions": 1,
        "surveys": 1,
        "offsets": 1,
    }
    assert take(sqlite_store, folder(correction, sound=False), who="ann", today=TODAY).nothing_new
    twice = {"sessions": f"{header}\nV2m,X1,2021-06-01T08:00,,V2,again\n"}
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, folder(twice, sound=False), who="ann", today=TODAY)
    assert refused.value.problems == (
        "sessions.csv row 2, column corrects: session 'V2' is corrected by 'V2k' already; correct that one instead",
    )
    # A chain: the correction is corrected, and without surveys that withdraws the visit
    chain = {"sessions": f"{header}\nV2m,X1,2021-06-01T08:00,,V2k,never happened\n"}
    assert dict(take(sqlite_store, folder(chain, sound=False), who="ann", today=TODAY).taken) == {"sessions": 1}


def test_a_correction_may_stand_before_what_it_corrects_in_one_file(folder: Folder, sqlite_store: Store) -> None:
    header, *rows = SOUND["sessions"].splitlines()
    text = "\n".join([header, "V9,X1,2021-06-01T08:00,,V2,sign turned", *rows]) + "\n"
    take(sqlite_store, folder({"sessions": text}), who="ann", today=TODAY)
    with sqlite_store.read() as session:
        assert session.execute(
            select(VisitSession.code).where(VisitSession.corrects_id.is_not(None))
        ).scalars().all() == ["V9"]


def test_a_draft_of_the_same_code_is_not_touched(folder: Folder, sqlite_store: Store) -> None:
    take(
        sqlite_store,
        folder({"sessions": None, "surveys": None, "readings": None, "offsets": None}),
        who="ann",
        today=TODAY,
    )
    with sqlite_store.write() as session:
        line = session.execute(select(Line.id).where(Line.code == "X1")).scalar_one()
        session.add(VisitSession(code="V2", line_id=line, started_at=NOW))
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, folder(), who="ann", today=TODAY)
    assert "sessions.csv row 3, column session: 'V2' is a draft in the store; sign or discard it first" in (
        refused.value.problems
    )


def test_what_hangs_from_a_draft_is_not_added_to_it(folder: Folder, sqlite_store: Store, census: Census) -> None:
    take(
        sqlite_store,
        folder({"sessions": None, "surveys": None, "readings": None, "offsets": None}),
        who="ann",
        today=TODAY,
    )
    with sqlite_store.write() as session:
        line = session.execute(select(Line.id).where(Line.code == "X1")).scalar_one()
        session.add(VisitSession(code="V2", line_id=line, started_at=NOW))
    before = census(sqlite_store)
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, folder({"findings": "session,item\nV2,grout\n"}, sound=False), who="ann", today=TODAY)
    assert refused.value.problems == (
        "findings.csv row 2, column session: session 'V2' is a draft in the store; sign or discard it first",
    )
    assert census(sqlite_store) == before


def test_what_somebody_else_wrote_meanwhile_is_a_sentence_and_nothing_is_kept(
    folder: Folder, store: Store, census: Census, monkeypatch: pytest.MonkeyPatch
) -> None:
    take(store, folder(), who="ann", today=TODAY)
    before = census(store)

    def late(session: Session, source: Source) -> tuple[Library, Places]:
        library, places = load(session, source)
        library.known.rows["barrels"].clear()  # as if the other's barrels had come in after this was read
        return library, places

    monkeypatch.setattr("fleet.intake.taking.load", late)
    with pytest.raises(IntakeError, match=r"another change to the store came between .*; nothing was kept, try again"):
        take(store, folder(), who="bob", today=TODAY)
    assert census(store) == before


def test_a_semicolon_file_may_write_the_decimal_comma_everywhere(folder: Folder, sqlite_store: Store) -> None:
    files = {
        "settings": "site;name;value\n;chance_due;0,25\n",
        "findings": "session;item;value;unit\nV1;soft foot;0,12;mm\n",
        "barrels": "barrel;bore_mm\nB1;90,5\nB2;90.5\n",
    }
    take(sqlite_store, folder(files), who="ann", today=TODAY)
    with sqlite_store.read() as session:
        assert session.execute(select(Setting.value)).scalars().all() == ["0.25"]
        assert session.execute(select(Finding.value, Finding.unit)).all() == [("0.12", "mm")]
        assert session.execute(select(Barrel.bore_mm)).scalars().all() == [90.5, 90.5]


def test_by_session_takes_the_sound_sessions_and_lists_the_others(folder: Folder, sqlite_store: Store) -> None:
    changed = {
        "offsets": SOUND["offsets"].replace("0.4,thou", "0.4,thous"),
        "sessions": SOUND["sessions"] + "V4,X1,2021-06-01T08:00,,V2,correct what is left out\n",
    }
    result = take(sqlite_store, folder(changed), who="ann", by_session=True, today=TODAY)
    assert {each.session: each.problems for each in result.left_out} == {
        "V2": ("offsets.csv row 2, column unit: 'thous' is not a unit; use um, mm, in or thou",),
        "V4": ("sessions.csv row 5, column corrects: session 'V2', which it corrects, is left out",),
    }
    assert {name: result.taken[name] for name in ("sessions", "surveys", "readings", "offsets")} == {
        "sessions": 2,
        "surveys": 2,
        "readings": 2,
        "offsets": 1,
    }
    with sqlite_store.read() as session:
        assert session.execute(select(VisitSession.code).order_by(VisitSession.code)).scalars().all() == ["V1", "V3"]
    # Put right, the rest comes in later; what came in before is known
    rest = take(sqlite_store, folder({"sessions": changed["sessions"]}), who="ann", by_session=True, today=TODAY)
    assert dict(rest.taken) == {"sessions": 2, "surveys": 1, "offsets": 2}
    assert rest.left_out == ()


def test_by_session_still_refuses_what_concerns_no_session(folder: Folder, sqlite_store: Store, census: Census) -> None:
    before = census(sqlite_store)
    with pytest.raises(IntakeError):
        take(
            sqlite_store, folder({"barrels": "barrel,bore_mm\nB1,x\nB2,90\n"}), who="ann", by_session=True, today=TODAY
        )
    assert census(sqlite_store) == before


def test_a_dry_run_tells_the_same_and_keeps_nothing(folder: Folder, sqlite_store: Store, census: Census) -> None:
    before = census(sqlite_store)
    dry = take(sqlite_store, folder(), who="ann", dry_run=True, today=TODAY)
    assert dry.dry_run
    assert census(sqlite_store) == before
    wet = take(sqlite_store, folder(), who="ann", today=TODAY)
    assert (dry.taken, dry.notes, dry.lines, dry.sha256) == (wet.taken, wet.notes, wet.lines, wet.sha256)


@pytest.mark.parametrize("step", ["insert_rows", "record", "raise_data_version", "_sign"])
def test_an_intake_that_dies_at_any_step_leaves_nothing_and_can_be_repeated(
    step: str, folder: Folder, sqlite_store: Store, census: Census, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = sqlite_store
    before = census(store)
    real = getattr(__import__("fleet.intake.taking", fromlist=["taking"]), step)
    calls = 0

    def die(*given: object, **named: object) -> object:
        nonlocal calls
        calls += 1
        found = real(*given, **named)
        if step != "insert_rows" or calls == 9:
            raise KeyboardInterrupt
        return found

    with monkeypatch.context() as patch:
        patch.setattr(f"fleet.intake.taking.{step}", die)
        with pytest.raises(KeyboardInterrupt):
            take(store, folder(), who="ann", today=TODAY)
    assert calls >= 1
    assert census(store) == before
    assert take(store, folder(), who="ann", today=TODAY).taken["readings"] == 2


def test_a_survey_without_values_is_taken_with_a_remark(folder: Folder, sqlite_store: Store) -> None:
    result = take(sqlite_store, folder({"surveys": SOUND["surveys"] + "V3,2,as_left\n"}), who="ann", today=TODAY)
    assert result.remarks == (
        "surveys.csv row 5: survey 2 of session 'V3' has neither readings nor offsets; it is taken without values",
    )


def test_only_lines_stations_sessions_surveys_and_offsets_make_a_complete_record(
    folder: Folder, sqlite_store: Store
) -> None:
    old = {
        "lines": "line\nX1\n",
        "stations": "line,station,distance_mm\nX1,S1,1500\n",
        "sessions": "session,line,started_at\nV1,X1,1998-05-04T07:30\n",
        "surveys": "session,survey,phase\nV1,1,as_left\n",
        "offsets": "session;survey;station;v;h;unit\nV1;1;S1;-0,25;0,1;mm\n",
    }
    assert sum(take(sqlite_store, folder(old, sound=False), who="ann", today=TODAY).taken.values()) == 5


def test_codes_are_matched_by_nfc_whichever_way_they_are_written(folder: Folder, sqlite_store: Store) -> None:
    one, other = "Caf\u00e9", "Cafe\u0301"
    take(
        sqlite_store,
        folder(
            {"lines": f"line\n{one}\n", "meters": f"line,read_at,running_hours\n{other},2020-01-01T07:00,5\n"},
            sound=False,
        ),
        who="ann",
        today=TODAY,
    )
    again = take(sqlite_store, folder({"lines": f"line\n{other}\n"}, sound=False), who="ann", today=TODAY)
    assert again.nothing_new
