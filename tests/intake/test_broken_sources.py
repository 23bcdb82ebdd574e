"""Every way a source can be wrong: the whole message, and the store as it was."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from intake_sources import SOUND, TODAY

from fleet.intake import IntakeError, take
from fleet.store.engine import Store

Files = Mapping[str, str | bytes | None]
Folder = Callable[..., Path]
Census = Callable[[Store], dict[str, int]]


def swap(file: str, old: str, new: str) -> Files:
    assert SOUND[file].count(old) == 1, f"{old!r} has to stand once in {file}"
    return {file: SOUND[file].replace(old, new)}


def add(file: str, *rows: str) -> Files:
    return {file: SOUND[file] + "".join(f"{row}\n" for row in rows)}


BROKEN: dict[str, tuple[Files, list[str]]] = {
    "a unit nobody knows": (
        swap("offsets", "0.4,thou", "0.4,thous"),
        ["offsets.csv row 2, column unit: 'thous' is not a unit; use um, mm, in or thou"],
    ),
    "the unit mil": (
        swap("offsets", "0.4,thou", "0.4,mil"),
        ["offsets.csv row 2, column unit: 'mil' is not a unit here; write thou"],
    ),
    "an exponent": (
        swap("offsets", "-12,7,um", "-1.2e1,7,um"),
        [
            "offsets.csv row 4, column v: '-1.2e1' is not a number; write digits, with a decimal point where needed",
        ],
    ),
    "a decimal comma in a file with commas": (
        swap("offsets", "-12,7,um", '"-12,5",7,um'),
        ["offsets.csv row 4, column v: '-12,5' is not a number; write a decimal point"],
    ),
    "an offset beyond 50 mm": (
        swap("offsets", "-12,7,um", "-51,7,mm"),
        ["offsets.csv row 4, column v: '-51' mm is beyond 50 mm; check number and unit"],
    ),
    "a distance beyond 20 m": (
        swap("supports", "U1,1500", "U1,20001"),
        ["supports.csv row 2, column distance_mm: '20001' is out of range; write a number from 0 to 20000"],
    ),
    "a negative width": (
        swap("tolerances", "h,,,50,100", "h,,,-50,100"),
        ["tolerances.csv row 3, column watch_um: '-50' is negative; write a number from 0 to 1000000000"],
    ),
    "a vee of 180 degrees": (
        {"supports": "line,support,distance_mm,vee_angle_deg\nX1,U1,1500,180\n"},
        ["supports.csv row 2, column vee_angle_deg: '180' is out of range; write a number between 0 and 180"],
    ),
    "an empty required cell": (
        swap("surveys", "V3,1,as_found", "V3,1,"),
        ["surveys.csv row 4, column phase: the cell is empty; it has to be filled"],
    ),
    "a closed word in other case": (
        swap("surveys", "V3,1,as_found", "V3,1,As_Found"),
        [
            "surveys.csv row 4, column phase: 'As_Found' is not one of as_found, interim, as_left, hot; "
            "write one of them"
        ],
    ),
    "a flag that is neither": (
        {"supports": "line,support,distance_mm,adjusts_v\nX1,U1,1500,TRUE\n"},
        ["supports.csv row 2, column adjusts_v: 'TRUE' is neither yes nor no; write one of them"],
    ),
    "a code with a space at its end": (
        add("lines", "X3 ,LO,90"),
        ["lines.csv row 4, column line: 'X3 ' has a space at an end; take it away"],
    ),
    "a code of 65 characters": (
        add("lines", "X" * 65 + ",LO,90"),
        [
            f"lines.csv row 4, column line: '{'X' * 60}...' has 65 characters; a code has at most 64",
        ],
    ),
    "an unknown column": (
        swap("lines", "screw_diameter_mm", "screw_diameter"),
        [
            "lines.csv row 1: 'screw_diameter' is not a column of this file; the columns are line, site, description, "
            "screw_diameter_mm, commissioned_on, running_hours_per_year, foundation, cold_reference_c, "
            "right_hand_side, feed_section_mm, weight, visit_hours, visit_cost_days, cool_down_h, heat_up_h, "
            "screw_pull_h"
        ],
    ),
    "a header in other case": (
        swap("surveys", "session,survey,phase", "session,survey,Phase"),
        [
            "surveys.csv row 1: 'Phase' is not a column of this file; write phase",
            "surveys.csv row 1: the required column phase is missing; add it",
        ],
    ),
    "a column twice": (
        {"barrels": "barrel,bore_mm,bore_mm\nB1,90,90\nB2,90,90\n"},
        ["barrels.csv row 1: column 'bore_mm' stands twice; keep one of them"],
    ),
    "a row that is too short": (
        swap("lines", "X2,LO,90", "X2,LO"),
        ["lines.csv row 3: 2 cells where the header has 3; add them"],
    ),
    "a row with a loose comma": (
        {"sites": "site,name,time_zone\nLO,Lowfield, the works,Europe/London\n"},
        ["sites.csv row 2: 4 cells where the header has 3; put quotes around a cell that holds the separator"],
    ),
    "a quote inside an unquoted cell": (
        swap("sites", "Lowfield works", 'Low"field works'),
        [
            "sites.csv row 2: a quote stands inside the unquoted cell 'Low\"field works'; "
            "put the cell in quotes and double the quote"
        ],
    ),
    "text after a closing quote": (
        swap("sites", "Lowfield works", '"Lowfield" works'),
        ["sites.csv row 2: ' works,Eur' follows a closing quote; write a quote within quotes twice"],
    ),
    "a quote that is never closed": (
        swap("sites", "Lowfield works", '"Lowfield works'),
        ["sites.csv row 2: a quote is opened and never closed; close it"],
    ),
    "bytes that are not UTF-8": (
        {"sites": "site,name,time_zone\nLO,Caf\u00e9,Europe/London\n".encode("latin-1")},
        ["sites.csv: byte 27 (line 2) is not UTF-8; save the file as UTF-8"],
    ),
    "a NUL character": (
        swap("sites", "Lowfield", "Low\0field"),
        ["sites.csv: line 2 holds a NUL character; this is not a text file"],
    ),
    "an empty file": (
        {"sites": "\ufeff\n \n"},
        ["sites.csv: the file is empty; it needs a header row"],
    ),
    "commas and semicolons in a header": (
        swap("sites", "site,name,time_zone", "site;name,time_zone"),
        ["sites.csv row 1: the header has commas and semicolons; use one of them throughout"],
    ),
    "a stray file": (
        {"pumps": "pump\nP1\n"},
        ["pumps.csv: not a file of the exchange format; rename it to one of the files of the format or take it out"],
    ),
    "a file in other case": (
        {"Meters.CSV": "line,read_at,running_hours\nX1,2020-01-01T07:00,5\n"},
        ["Meters.CSV: not a file of the exchange format; rename it to meters.csv"],
    ),
    "more than 256 columns": (
        {"barrels": ",".join(f"c{n}" for n in range(257)) + "\n"},
        ["barrels.csv row 1: 257 columns; at most 256 are read"],
    ),
    "a cell of more than 32,767 characters": (
        swap("sites", "Lowfield works", "w" * 32_768),
        [
            "sites.csv row 2, column name: 'wwwwwwwwwwwwwwwwwwww' has 32768 characters; at most 32767 are read",
        ],
    ),
    "identical rows": (
        add("stations", "X2,S1,1500,,"),
        ["stations.csv row 5: line 'X2', station 'S1' stands in row 4 already; a key may stand once"],
    ),
    "a key that is the same by meaning": (
        add("tolerances", "X1,,v,offset,,60,110"),
        ["tolerances.csv row 4: line 'X1', axis 'v', measure 'offset' stands in row 2 already; a key may stand once"],
    ),
    "a line nobody knows": (
        swap("sessions", "V3,X2", "V3,X9"),
        [
            "sessions.csv row 4, column line: there is no line 'X9'; add it to lines or correct the code",
        ],
    ),
    "a station of another line": (
        swap("offsets", "V3,1,S1", "V3,1,S2"),
        [
            "offsets.csv row 4, column station: there is no station 'S2' on line 'X2'; "
            "add it to stations or correct the code"
        ],
    ),
    "a survey nobody made": (
        swap("offsets", "V3,1,S1", "V3,2,S1"),
        ["offsets.csv row 4, column survey: session 'V3' has no survey 2; add it to surveys or correct the number"],
    ),
    "a move at a support nobody knows": (
        {"moves": "session,after_survey,support,v,h,unit\nV1,1,flange,0,0,mm\nV1,1,U7,0,0,mm\n"},
        [
            "moves.csv row 3, column support: there is no support 'U7' on line 'X1'; "
            "add it to supports or correct the code"
        ],
    ),
    "a barrel nobody knows": (
        swap("placements", "B2", "B9"),
        ["placements.csv row 3, column asset: there is no barrel 'B9'; add it to barrels or correct the code"],
    ),
    "readings and offsets in one survey": (
        add("offsets", "V1,1,S2,1,1,um"),
        ["offsets.csv row 5: survey 1 of session 'V1' has readings and offsets; keep one kind"],
    ),
    "readings without an instrument": (
        swap("sessions", "08:00,I1", "08:00,"),
        [
            "readings.csv row 2, column session: survey 1 of session 'V1' has readings but no instrument; "
            "name one in surveys or sessions"
        ],
    ),
    "an instrument without senses": (
        swap("sessions", "08:00,I1", "08:00,I2"),
        [
            "readings.csv row 2, column session: survey 1 of session 'V1' has readings, but instrument 'I2' lacks "
            "sense_v or sense_h; give both in instruments"
        ],
    ),
    "a watch width above the limit": (
        swap("tolerances", "h,,,50,100", "h,,,100.5,100"),
        [
            "tolerances.csv row 3, column watch_um: '100.5' is above limit_um 100; it has to lie within",
        ],
    ),
    "a session before its stations were added": (
        swap("sessions", "2021-06-01T08:00", "2014-12-31T23:00"),
        [
            "offsets.csv row 2, column station: session 'V2' of 2014-12-31 lies before station 'S1' was added on "
            "2015-01-01; correct one of the dates",
            "offsets.csv row 3, column station: session 'V2' of 2014-12-31 lies before station 'S2' was added on "
            "2015-01-01; correct one of the dates",
        ],
    ),
    "two barrels on one line at once": (
        {
            "barrels": "barrel\nB1\nB2\n",
            "placements": "line,asset_kind,asset,installed_on,removed_on\nX1,barrel,B1,2015-01-01,2018-01-02\n"
            "X1,barrel,B2,2018-01-01,\n",
        },
        [
            "placements.csv row 3, column installed_on: barrel 'B1' stands on line 'X1' from 2015-01-01 to 2018-01-02; "
            "no two of a kind stand on one line at once, correct a date or give removed_on"
        ],
    ),
    "one barrel on two lines at once": (
        {
            "placements": "line,asset_kind,asset,installed_on,removed_on\nX1,barrel,B1,2015-01-01,\n"
            "X2,barrel,B1,2018-01-01,\n"
        },
        [
            "placements.csv row 3, column installed_on: barrel 'B1' stands on line 'X1' from 2015-01-01 "
            "without an end; it cannot stand in two places at once, correct a date or give removed_on"
        ],
    ),
    "an end before its beginning": (
        swap("placements", "X2,barrel,B2,2015-01-01,", "X2,barrel,B2,2015-01-02,2015-01-01"),
        ["placements.csv row 3, column removed_on: '2015-01-01' lies before installed_on; correct one of them"],
    ),
    "a correction on another day": (
        add("sessions", "V4,X1,2021-06-02T08:00,,V2,sign turned"),
        [
            "sessions.csv row 5, column started_at: '2021-06-02T08:00' differs from that of 'V2', which it corrects; "
            "a correction keeps it, write 2021-06-01T08:00"
        ],
    ),
    "a correction on another line": (
        add("sessions", "V4,X2,2021-06-01T08:00,,V2,sign turned"),
        ["sessions.csv row 5, column line: 'X2' is not the line of 'V2', which it corrects; write X1"],
    ),
    "a correction without a reason": (
        add("sessions", "V4,X1,2021-06-01T08:00,,V2,"),
        ["sessions.csv row 5, column correction_reason: session 'V4' corrects 'V2' without a reason; give it"],
    ),
    "two corrections of one session": (
        add("sessions", "V4,X1,2021-06-01T08:00,,V2,first", "V5,X1,2021-06-01T08:00,,V2,second"),
        [
            "sessions.csv row 6, column corrects: session 'V2' is corrected by 'V4' already; correct that one instead",
        ],
    ),
    "corrections in a circle": (
        add("sessions", "V4,X1,2021-06-01T08:00,,V5,first", "V5,X1,2021-06-01T08:00,,V4,second"),
        [
            "sessions.csv row 5, column corrects: the corrections from 'V4' lead back to it; correct the codes",
            "sessions.csv row 6, column corrects: the corrections from 'V5' lead back to it; correct the codes",
        ],
    ),
    "a setting nobody knows": (
        {"settings": "site,name,value\n,chance_of_rain,0.3\n"},
        [
            "settings.csv row 2, column name: 'chance_of_rain' is not a setting; the settings are chance_over, "
            "chance_due, chance_watch, cap, horizon_years, soak_hours, pair_agreement_um, set_within_um, "
            "bore_size_points, bore_size_shape, screw_out_kinds"
        ],
    ),
    "a chance above one": (
        {"settings": "site,name,value\nLO,chance_due,20\n"},
        ["settings.csv row 2, column value: '20' does not suit chance_due; write a chance from 0 to 1"],
    ),
    "a rule of thumb that is no pairs": (
        {"settings": "site,name,value\n,bore_size_points,60:50;120\n"},
        [
            "settings.csv row 2, column value: '60:50;120' does not suit bore_size_points; "
            "write pairs such as 60:50;120:200 (bore_mm:drop_um), each bore once"
        ],
    ),
    "a temperature of nothing": (
        {"support_temperatures": "session,survey,line,checked_at,support,barrel_c\nV1,,,,U1,80\n"},
        [
            "support_temperatures.csv row 2: a support's temperature belongs to session and survey, or to line and "
            "checked_at; fill one pair only"
        ],
    ),
    "a temperature of a running check nobody made": (
        {"support_temperatures": "session,survey,line,checked_at,support,barrel_c\n,,X1,2020-06-01T09:00,U1,80\n"},
        [
            "support_temperatures.csv row 2, column checked_at: line 'X1' has no running check at '2020-06-01T09:00'; "
            "add it or correct the time"
        ],
    ),
    "a session that lies ahead": (
        swap("sessions", "2022-06-01T08:00", "2026-11-03T08:00"),
        [
            "sessions.csv row 4, column started_at: '2026-11-03T08:00' lies ahead, after tomorrow (2026-11-02); "
            "check the date"
        ],
    ),
    "a session before 1900": (
        swap("sessions", "2022-06-01T08:00", "1022-06-01T08:00"),
        ["sessions.csv row 4, column started_at: '1022-06-01T08:00' lies before 1900; check the year"],
    ),
    "a session without a time of day": (
        swap("sessions", "2022-06-01T08:00", "2022-06-01"),
        ["sessions.csv row 4, column started_at: '2022-06-01' has no time of day; write YYYY-MM-DDTHH:MM"],
    ),
    # IANA tzdata, file europe, rule EU: summer time begins at 01:00 UTC on the last Sunday of March
    "a time the clock change skips": (
        swap("sessions", "2022-06-01T08:00", "2026-03-29T01:30"),
        [
            "sessions.csv row 4, column started_at: '2026-03-29T01:30' does not exist in Europe/London: "
            "the clock change skips it; check the time"
        ],
    ),
    # and ends at 01:00 UTC on the last Sunday of October
    "a time the clock change repeats": (
        swap("sessions", "2022-06-01T08:00", "2026-10-25T01:30"),
        [
            "sessions.csv row 4, column started_at: '2026-10-25T01:30' happens twice in Europe/London, "
            "at a clock change; add its offset, +01:00 or +00:00"
        ],
    ),
    "a time zone nobody knows": (
        swap("sites", "Europe/London", "Europe/Lundon"),
        [
            "sites.csv row 2, column time_zone: 'Europe/Lundon' is not a time zone; "
            "write an IANA name such as Europe/London"
        ],
    ),
    "an outage at a site its line does not stand at": (
        {
            "sites": "site,time_zone\nLO,Europe/London\nHI,Europe/London\n",
            "outages": "outage,site,line,starts_at,ends_at\nO1,HI,X1,2027-01-01T06:00,2027-01-03T18:00\n",
        },
        ["outages.csv row 2, column line: line 'X1' stands at site 'LO', not at 'HI'; give one of them"],
    ),
    "a finding's unit without a value": (
        {"findings": "session,item,value,unit\nV1,soft foot,,mm\n"},
        [
            "findings.csv row 2, column unit: 'mm' stands without a value; give the value or leave the unit empty",
        ],
    ),
    "a survey number that is not whole": (
        swap("surveys", "V3,1,", "V3,1.5,"),
        [
            "surveys.csv row 4, column survey: '1.5' is not a whole number; write one",
            "offsets.csv row 4, column survey: session 'V3' has no survey 1; add it to surveys or correct the number",
        ],
    ),
}


@pytest.mark.parametrize("broken", BROKEN)
def test_a_broken_source_is_refused_with_the_place_and_the_remedy(
    broken: str, folder: Folder, sqlite_store: Store, census: Census
) -> None:
    files, messages = BROKEN[broken]
    before = census(sqlite_store)
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, folder(files), who="ann", today=TODAY)
    assert list(refused.value.problems) == messages
    assert str(refused.value) == "\n".join(messages)
    assert census(sqlite_store) == before


def test_the_source_that_is_broken_above_is_sound(folder: Folder, sqlite_store: Store) -> None:
    assert take(sqlite_store, folder(), who="ann", today=TODAY).taken["sessions"] == 3


def test_all_problems_are_told_at_once_up_to_200_and_their_number(
    folder: Folder, sqlite_store: Store, census: Census
) -> None:
    lines = "line,site\n" + "".join(f"L{n},NOWHERE\n" for n in range(300))
    before = census(sqlite_store)
    with pytest.raises(IntakeError) as refused:
        take(
            sqlite_store,
            folder({"lines": lines, "surveys": "session,survey,phase\nV1,x,as_found\n"}, sound=False),
            who="ann",
            today=TODAY,
        )
    assert len(refused.value.problems) == 200
    assert refused.value.count == 302
    assert refused.value.problems[0] == (
        "lines.csv row 2, column site: there is no site 'NOWHERE'; add it to sites or correct the code"
    )
    assert str(refused.value).endswith("\n... and 102 more problems")
    assert census(sqlite_store) == before


def test_rows_are_counted_as_records_so_that_a_line_break_inside_quotes_is_one_row(
    folder: Folder, sqlite_store: Store
) -> None:
    sites = 'site,name,time_zone\nLO,"first\nsecond\r\nthird",Europe/London\n\n,,\nHI,,Nowhere/Atall\n'
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, folder({"sites": sites}), who="ann", today=TODAY)
    assert refused.value.problems == (
        "sites.csv row 5, column time_zone: 'Nowhere/Atall' is not a time zone; "
        "write an IANA name such as Europe/London",
    )


def test_a_missing_a_wrong_and_an_empty_folder_are_told_apart(tmp_path: Path, sqlite_store: Store) -> None:
    (tmp_path / "file.csv").write_text("line\nX1\n")
    (tmp_path / "empty").mkdir()
    (tmp_path / "empty" / "readme.txt").write_text("nothing here")
    said = {}
    for name in ("missing", "file.csv", "empty"):
        with pytest.raises(IntakeError) as refused:
            take(sqlite_store, tmp_path / name, who="ann", today=TODAY)
        said[name] = str(refused.value).removeprefix(f"{tmp_path / name}: ")
    assert said == {
        "missing": "there is no such folder; check the path",
        "file.csv": "this is neither a folder nor an .xlsx workbook; name the folder that holds the CSV files, or the "
        "workbook",
        "empty": "there is no file of the exchange format in this folder; it holds files such as lines.csv",
    }


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes and links of this kind here")
def test_links_out_of_the_folder_pipes_and_folders_are_refused_unopened(
    folder: Folder, tmp_path: Path, sqlite_store: Store, census: Census
) -> None:
    place = folder()
    outside = tmp_path / "outside.csv"
    outside.write_text("site\nOUT\n")
    (place / "sites.csv").unlink()
    (place / "sites.csv").symlink_to(outside)
    (place / "barrels.csv").unlink()
    os.mkfifo(place / "barrels.csv")  # opened for reading, it would wait for ever
    (place / "supports.csv").unlink()
    (place / "supports.csv").mkdir()
    (place / "tolerances.csv").unlink()
    (place / "tolerances.csv").symlink_to("/dev/zero")
    (place / "instruments.csv").unlink()
    (place / "instruments.csv").symlink_to(place / "gone.csv")
    before = census(sqlite_store)
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, place, who="ann", today=TODAY)
    link = "a link that leads out of the folder is not opened; put the file itself here"
    assert set(refused.value.problems) == {
        f"sites.csv: {link}",
        f"tolerances.csv: {link}",
        "barrels.csv: this is a pipe, not a file, and is not opened; put an ordinary file here",
        "supports.csv: this is a folder, not a file, and is not opened; put an ordinary file here",
        "instruments.csv: cannot be read (No such file or directory); put a readable file here",
    }
    assert census(sqlite_store) == before


def test_a_link_within_the_folder_and_other_files_are_let_pass(folder: Folder, sqlite_store: Store) -> None:
    place = folder({"notes.txt": "not ours", "sites.csv.bak": "not ours"})
    (place / "real.data").write_text(SOUND["sites"])
    (place / "sites.csv").unlink()
    (place / "sites.csv").symlink_to("real.data")
    assert take(sqlite_store, place, who="ann", today=TODAY).taken["sites"] == 1


def test_a_file_of_more_than_200_megabytes_is_refused_unread(folder: Folder, sqlite_store: Store) -> None:
    place = folder()
    with (place / "meters.csv").open("wb") as file:
        file.truncate(200_000_001)  # sparse: takes no room on the disk
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, place, who="ann", today=TODAY)
    assert refused.value.problems == ("meters.csv: 200000001 bytes; at most 200 MB a file are read, split it",)


def test_a_folder_of_more_than_a_gigabyte_is_refused(
    folder: Folder, sqlite_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The bound is lowered: what is tested is that the files are added up
    monkeypatch.setattr("fleet.intake.csvfolder.TOTAL_BYTES", 400)
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, folder(), who="ann", today=TODAY)
    assert any("the files together hold more than" in problem for problem in refused.value.problems)


def test_more_rows_than_a_workbook_holds_are_refused(
    folder: Folder, sqlite_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fleet.intake.csvfolder.MOST_ROWS", 3)
    with pytest.raises(IntakeError) as refused:
        take(sqlite_store, folder({"barrels": "barrel\nB1\nB2\nB3\n"}), who="ann", today=TODAY)
    assert "barrels.csv: more than 3 rows; split the file" in refused.value.problems
