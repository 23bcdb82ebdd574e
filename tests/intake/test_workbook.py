"""A workbook comes in as the folder of CSV files would, whatever the spreadsheet made of what was typed."""

from __future__ import annotations

import csv
import io
import os
import zipfile
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter
from intake_sources import MILLS, SOUND, TODAY
from openpyxl import Workbook

from fleet.intake import IntakeError, export, export_workbook, read_workbook, take
from fleet.store.engine import Store, open_store

Census = Callable[[Store], dict[str, int]]
Rows = Sequence[Sequence[Any]]


def sound() -> dict[str, list[list[Any]]]:
    """The sound source, every cell as text."""
    return {name: list(csv.reader(io.StringIO(text))) for name, text in SOUND.items()}


def book(path: Path, sheets: Mapping[str, Rows], formats: Mapping[tuple[str, str], str] | None = None) -> Path:
    """Write a workbook with another library than the one under test; `formats` by sheet and cell."""
    made = Workbook()
    made.remove(made.worksheets[0])
    for name, rows in sheets.items():
        page = made.create_sheet(name)
        for at, row in enumerate(rows, start=1):
            for column, value in enumerate(row, start=1):
                if value not in ("", None):
                    page.cell(at, column, value)
    for (name, place), shape in (formats or {}).items():
        made[name][place].number_format = shape
    made.save(path)
    return path


def refused(store: Store, path: Path, **options: Any) -> list[str]:
    with pytest.raises(IntakeError) as error:
        take(store, path, who="ann", today=TODAY, **options)
    return [problem.replace(str(path), path.name) for problem in error.value.problems]


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def second_store(template: Path, place: Path) -> Store:
    path = place / "second.sqlite"
    path.write_bytes(template.read_bytes())
    return open_store(f"sqlite:///{path}")


@pytest.mark.parametrize("mill", ["mill-a", "mill-b", "mill-c"])
def test_a_mill_as_a_workbook_makes_the_same_record_as_its_csv_files(
    mill: str, sqlite_store: Store, sqlite_template: Path, tmp_path: Path
) -> None:
    taken = take(sqlite_store, MILLS / mill, who="ann", today=TODAY)
    export(sqlite_store, tmp_path / "first")
    export_workbook(sqlite_store, tmp_path / "mill.xlsx")
    assert take(sqlite_store, tmp_path / "mill.xlsx", who="ann", today=TODAY).nothing_new
    other = second_store(sqlite_template, tmp_path)
    again = take(other, tmp_path / "mill.xlsx", who="ann", today=TODAY)
    export(other, tmp_path / "second")
    other.close()
    assert dict(again.taken) == dict(taken.taken)
    assert contents(tmp_path / "first") == contents(tmp_path / "second")
    assert len(contents(tmp_path / "first")) >= 10


def test_real_dates_numbers_and_truth_values_mean_what_their_text_means(sqlite_store: Store, tmp_path: Path) -> None:
    sheets = sound()
    sheets["supports"] = [["line", "support", "distance_mm", "adjusts_v", "adjusts_h", "base_expansion_per_k"]]
    sheets["supports"] += [["X1", "U1", 1500, True, False, 0.0000121]]
    sheets["sessions"][1][2] = datetime(2020, 6, 1, 8, 0)  # noqa: DTZ001 - a cell knows no time zone
    sheets["stations"][1][4] = date(2015, 1, 1)
    sheets["offsets"][1][3:5] = [-3.5, 0.4]
    sheets["offsets"][2][3:5] = [-0.0035, 0.1 + 0.2]
    sheets["offsets"][3][3:5] = [-12, 7.0]
    formats = {("offsets", "E2"): "0.00"}
    take(sqlite_store, book(tmp_path / "typed.xlsx", sheets, formats), who="ann", today=TODAY)
    export(sqlite_store, tmp_path / "out")
    written = contents(tmp_path / "out")
    # A format of two places shows 0.40: that is what was read off the screen
    assert written["offsets.csv"].decode() == (
        "session,survey,station,v,h,unit,u_v,u_h\n"
        "V2,1,S1,-3.5,0.40,thou,,\nV2,1,S2,-0.0035,0.3,in,,\nV3,1,S1,-12,7,um,,\n"
    )
    (support,) = csv.DictReader(io.StringIO(written["supports.csv"].decode()))
    assert (support["adjusts_v"], support["adjusts_h"], support["base_expansion_per_k"]) == ("yes", "no", "0.0000121")
    assert b"V1,X1,2020-06-01T08:00," in written["sessions.csv"]
    assert b"X1,S1,1500,U1,,,2015-01-01," in written["stations.csv"]


def test_numbers_that_stand_for_codes_are_read_as_they_are_shown(tmp_path: Path) -> None:
    sheets = {"lines": [["line", "description"], [101, 4711], [7, 2.5]], "barrels": [["barrel"], [12]]}
    path = book(tmp_path / "codes.xlsx", sheets, {("lines", "A3"): "000", ("barrels", "A2"): "0"})
    source = read_workbook(path)
    assert source.tables["lines"].columns == {"line": ["101", "007"], "description": ["4711", "2.5"]}
    assert source.tables["barrels"].columns == {"barrel": ["12"]}


def test_hidden_sheets_rows_and_columns_are_read_and_blank_ones_skipped(tmp_path: Path) -> None:
    path = book(
        tmp_path / "hidden.xlsx",
        {"lines": [[], ["line", "description"], [], ["X1", "a"], [" ", ""], ["X2", "b"]], "Sheet1": [], "notes": []},
    )
    from openpyxl import load_workbook

    made = load_workbook(path)
    made.create_sheet("sites").append(["site"])
    made["sites"].append(["LO"])
    made["sites"].sheet_state = "veryHidden"
    made["lines"].row_dimensions[6].hidden = True
    made["lines"].column_dimensions["B"].hidden = True
    made.save(path)
    source = read_workbook(path)
    assert source.problems == []
    assert source.tables["lines"].columns == {"line": ["X1", "X2"], "description": ["a", "b"]}
    assert source.tables["lines"].rows == [4, 6]
    assert source.tables["sites"].columns == {"site": ["LO"]}


NAME = "name the column or empty the cell"
AGAIN = "format the cell as text and type it again"
WRONG: dict[str, tuple[dict[str, Rows], list[str]]] = {
    "a unit nobody knows": (
        {"offsets": [["session", "survey", "station", "v", "h", "unit"], ["V2", 1, "S1", -3.5, 0.4, "thous"]]},
        ["sheet offsets row 2, column unit: 'thous' is not a unit; use um, mm, in or thou"],
    ),
    "a formula": (
        {"sites": [["site", "name", "time_zone"], ["LO", "=A2", "Europe/London"]]},
        [
            "sheet sites row 2, column name: '=A2' is a formula, and formulas are not read; "
            "put the value itself in its place (copy, then paste as values)"
        ],
    ),
    "a formula as a header": (
        {"sites": [["site", "=A1"], ["LO", "x"]]},
        [
            "sheet sites row 1: the header in column B: '=A1' is a formula, and formulas are not read; "
            "put the value itself in its place (copy, then paste as values)"
        ],
    ),
    "an error value": (
        {"sites": [["site", "name", "time_zone"], ["LO", "#N/A", "Europe/London"]]},
        ["sheet sites row 2, column name: '#N/A' is an error of the spreadsheet; write the value or empty the cell"],
    ),
    "a code that became a date": (
        {"barrels": [["barrel"], ["B1"], [date(2026, 3, 4)], ["B2"]]},
        [
            "sheet barrels row 3, column barrel: the date 2026-03-04 stands where text is expected, a spreadsheet "
            f"may have made it; {AGAIN}"
        ],
    ),
    "a code that lost digits": (
        {"barrels": [["barrel"], ["B1"], [1.1], ["B2"], [1e17]]},
        [
            "sheet barrels row 3, column barrel: the number 1.1 stands where a code is expected, and may have lost "
            f"digits; {AGAIN}",
            "sheet barrels row 5, column barrel: the number 100000000000000000 is too long to be kept digit by digit; "
            f"{AGAIN}",
        ],
    ),
    "a code that became a truth value": (
        {"barrels": [["barrel"], ["B1"], [True], ["B2"]]},
        [f"sheet barrels row 3, column barrel: TRUE is a truth value where text is expected; {AGAIN}"],
    ),
    "a number that became a date": (
        {"supports": [["line", "support", "distance_mm"], ["X1", "U1", date(2026, 5, 1)]]},
        [
            "sheet supports row 2, column distance_mm: '2026-05-01' is not a number; "
            "write digits, with a decimal point where needed"
        ],
    ),
    "a decimal comma": (
        {"supports": [["line", "support", "distance_mm"], ["X1", "U1", "1500,5"]]},
        ["sheet supports row 2, column distance_mm: '1500,5' is not a number; write a decimal point"],
    ),
    "a start that may have no time of day": (
        {
            "sessions": [
                ["session", "line", "started_at", "instrument"],
                ["V1", "X1", datetime(2020, 6, 1), "I1"],  # noqa: DTZ001
                ["V2", "X1", "2021-06-01T08:00"],
                ["V3", "X2", "2022-06-01T08:00"],
            ]
        },
        [
            "sheet sessions row 2, column started_at: 2020-06-01T00:00 may be a date to which the spreadsheet added "
            "00:00; type the time of day, or as text 2020-06-01T00:00 for midnight"
        ],
    ),
    "an unknown column": (
        {"sites": [["site", "town"], ["LO", "x"]]},
        ["sheet sites row 1: 'town' is not a column of this sheet; the columns are site, name, time_zone"],
    ),
    "a column without a name": (
        {"sites": [["site", "", "time_zone"], ["LO", "", "Europe/London"]]},
        ["sheet sites row 1: column 2 has no name; name it or take it out"],
    ),
    "a cell under no header": (
        {"sites": [["site", "time_zone"], ["LO", "Europe/London", "", "note"]]},
        [f"sheet sites row 2: a cell in column D stands under no header; {NAME}"],
    ),
    "more than 256 columns": (
        {"barrels": [[f"c{n}" for n in range(257)]]},
        ["sheet barrels row 1: 257 columns; at most 256 are read"],
    ),
    "a stray sheet": (
        {"pumps": [[], ["pump"]]},
        [
            "sheet 'pumps': not a sheet of the exchange format; "
            "rename it to one of the sheets of the format or take it out"
        ],
    ),
    "a sheet in other case": (
        {"Meters": [["line", "read_at", "running_hours"]]},
        ["sheet 'Meters': not a sheet of the exchange format; rename it to meters"],
    ),
    "a key twice": (
        {"barrels": [["barrel"], ["B1"], ["B2"], ["B2"]]},
        ["sheet barrels row 4: barrel 'B2' stands in row 3 already; a key may stand once"],
    ),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_workbook_is_refused_with_the_place_and_the_remedy(
    wrong: str, sqlite_store: Store, census: Census, tmp_path: Path
) -> None:
    sheets, messages = WRONG[wrong]
    before = census(sqlite_store)
    assert refused(sqlite_store, book(tmp_path / "wrong.xlsx", sound() | sheets)) == messages
    assert census(sqlite_store) == before


def test_the_workbook_that_is_broken_above_is_sound(sqlite_store: Store, tmp_path: Path) -> None:
    path = book(tmp_path / "sound.xlsx", sound())
    assert take(sqlite_store, path, who="ann", today=TODAY).taken["sessions"] == 3


def test_sound_sessions_of_a_workbook_are_taken_and_the_others_listed(sqlite_store: Store, tmp_path: Path) -> None:
    sheets = sound()
    sheets["offsets"][3][5] = "thous"
    result = take(sqlite_store, book(tmp_path / "half.xlsx", sheets), who="ann", today=TODAY, by_session=True)
    assert [left.session for left in result.left_out] == ["V3"]
    assert result.problems == ("sheet offsets row 4, column unit: 'thous' is not a unit; use um, mm, in or thou",)


def remade(path: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """Write a sound workbook whose parts were changed."""
    with zipfile.ZipFile(book(path, sound())) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    change(parts)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return path


def put(name: str, data: bytes) -> Callable[[dict[str, bytes]], None]:
    return lambda parts: parts.update({name: data})


def swap(name: str, old: bytes, new: bytes) -> Callable[[dict[str, bytes]], None]:
    def change(parts: dict[str, bytes]) -> None:
        assert old in parts[name]
        parts[name] = parts[name].replace(old, new)

    return change


DAMAGED = "the workbook is damaged; open it in a spreadsheet program and save it again, or take an undamaged copy"
TYPES = "[Content_Types].xml"
PARTS: dict[str, tuple[Callable[[dict[str, bytes]], None], str]] = {
    "macros": (
        put("xl/vbaProject.bin", b"x"),
        "the workbook carries macros; save it again as an XLSX workbook (without macros)",
    ),
    "a kind that carries macros": (
        swap(TYPES, b"vnd.openxmlformats-officedocument.spreadsheetml.sheet.main", b"vnd.ms-excel.sheet.macroEnabled"),
        "the workbook is of the kind that carries macros; save it again as an XLSX workbook (without macros)",
    ),
    "links to other files": (
        put("xl/externalLinks/externalLink1.xml", b"<externalLink/>"),
        "the workbook links to other files; break the links in the spreadsheet program and save it again",
    ),
    "a binary workbook": (
        put("xl/workbook.bin", b"x"),
        "this is a binary workbook; save it again as an XLSX workbook",
    ),
    "a spreadsheet program's template": (
        swap(TYPES, b"spreadsheetml.sheet.main", b"spreadsheetml.template.main"),
        "this is a spreadsheet program's template; save it again as an XLSX workbook",
    ),
    "a letter": (
        swap(TYPES, b"spreadsheetml.sheet.main", b"wordprocessingml.document.main"),
        "this is an office file, but no workbook; save it again as an XLSX workbook",
    ),
    "no content types": (
        lambda parts: parts.pop(TYPES) and None,
        "this is a ZIP archive, but no workbook; save it again as an XLSX workbook",
    ),
    # ECMA-376-2 forbids document types; entities that grow are what they would be used for
    "a document type": (
        swap("xl/worksheets/sheet1.xml", b"<worksheet", b'<!DOCTYPE w [<!ENTITY a "aa">]><worksheet'),
        "its part xl/worksheets/sheet1.xml declares a document type, which no workbook does; "
        "save it again as an XLSX workbook",
    ),
    "the strict kind": (
        swap("xl/workbook.xml", b"http://schemas.openxmlformats.org/spreadsheetml/2006/main",
             b"http://purl.oclc.org/ooxml/spreadsheetml/main"),
        "this is a workbook of the kind called Strict Open XML; save it as an ordinary XLSX workbook",
    ),
    "an escaped underscore": (
        put("xl/sharedStrings.xml", b"<sst><si><t>_x005F_x0041_</t></si></sst>"),
        "a text in it holds '_x' with a code and '_', which cannot be read for certain; write it otherwise",
    ),
    "XML that ends early": (swap("xl/worksheets/sheet1.xml", b"</worksheet>", b""), DAMAGED),
    "a missing string": (
        swap("xl/worksheets/sheet1.xml", b't="inlineStr"><is><t>LO</t></is>', b't="s"><v>9</v>'),
        DAMAGED,
    ),
    "no workbook part": (lambda parts: parts.pop("xl/workbook.xml") and None, DAMAGED),
}  # fmt: skip


@pytest.mark.parametrize("wrong", PARTS)
def test_a_file_that_is_no_ordinary_workbook_is_refused_with_a_sentence(
    wrong: str, sqlite_store: Store, census: Census, tmp_path: Path
) -> None:
    change, message = PARTS[wrong]
    before = census(sqlite_store)
    assert refused(sqlite_store, remade(tmp_path / "odd.xlsx", change)) == [f"odd.xlsx: {message}"]
    assert census(sqlite_store) == before


OLE = bytes.fromhex("d0cf11e0a1b11ae1")  # MS-CFB 2.2, header signature
FILES: dict[str, tuple[str, bytes, str]] = {
    "CSV renamed": (
        "lines.xlsx",
        b"line,site\nX1,LO\n",
        "this is not an XLSX workbook, whatever its name; save it again as an XLSX workbook, or put CSV files into a "
        "folder and name that",
    ),
    "an old workbook": (
        "old.xls",
        OLE + bytes(600),
        "this is a workbook of the old binary kind, whatever its name; save it again as an XLSX workbook",
    ),
    # MS-OFFCRYPTO 2.3.4.4: the stream \EncryptedPackage
    "an encrypted workbook": (
        "secret.xlsx",
        OLE + bytes(600) + "EncryptedPackage".encode("utf-16-le") + bytes(90),
        "the workbook is encrypted; take its password off and save it again as an XLSX workbook",
    ),
    "an empty file": ("none.xlsx", b"", "the file is empty; put the workbook itself here"),
    "half an archive": ("half.xlsx", b"PK\x03\x04" + bytes(500), DAMAGED),
}


@pytest.mark.parametrize("wrong", FILES)
def test_a_file_of_another_kind_is_refused_with_a_sentence(
    wrong: str, sqlite_store: Store, census: Census, tmp_path: Path
) -> None:
    name, data, message = FILES[wrong]
    (tmp_path / name).write_bytes(data)
    before = census(sqlite_store)
    assert refused(sqlite_store, tmp_path / name) == [f"{name}: {message}"]
    assert census(sqlite_store) == before


def test_a_flipped_bit_and_a_cut_end_are_told_as_damage(sqlite_store: Store, tmp_path: Path) -> None:
    data = book(tmp_path / "sound.xlsx", sound()).read_bytes()
    at = data.index(b"xl/worksheets/sheet1.xml") + 60
    (tmp_path / "flipped.xlsx").write_bytes(data[:at] + bytes([data[at] ^ 0x10]) + data[at + 1 :])
    (tmp_path / "cut.xlsx").write_bytes(data[:-100])
    assert refused(sqlite_store, tmp_path / "flipped.xlsx") == [f"flipped.xlsx: {DAMAGED}"]
    assert refused(sqlite_store, tmp_path / "cut.xlsx") == [f"cut.xlsx: {DAMAGED}"]


def test_an_encrypted_archive_is_refused_by_its_list_of_contents(sqlite_store: Store, tmp_path: Path) -> None:
    data = bytearray(book(tmp_path / "secret.xlsx", sound()).read_bytes())
    # APPNOTE.TXT 4.3.12 and 4.4.4: in a central directory header, bit 0 of the flags at offset 8 means encrypted
    data[data.index(b"PK\x01\x02") + 8] |= 1
    (tmp_path / "secret.xlsx").write_bytes(data)
    message = "the workbook is encrypted; take its password off and save it again as an XLSX workbook"
    assert refused(sqlite_store, tmp_path / "secret.xlsx") == [f"secret.xlsx: {message}"]


def test_a_bomb_is_refused_before_any_of_it_is_unpacked(
    sqlite_store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("xl/big.xml", "w") as part:
        for _ in range(101):
            part.write(bytes(10_000_000))
    assert path.stat().st_size < 2_000_000

    def unpacked(*_: Any, **__: Any) -> None:
        raise AssertionError("a part was opened")

    monkeypatch.setattr(zipfile.ZipFile, "open", unpacked)
    assert refused(sqlite_store, path) == [
        "bomb.xlsx: unpacked it would take 1010000000 bytes; at most 1 GB is read, split the workbook"
    ]


def test_a_workbook_of_more_than_200_megabytes_is_refused_unread(sqlite_store: Store, tmp_path: Path) -> None:
    with (tmp_path / "large.xlsx").open("wb") as file:
        file.truncate(200_000_001)  # sparse: takes no room on the disk
    assert refused(sqlite_store, tmp_path / "large.xlsx") == [
        "large.xlsx: 200000001 bytes; at most 200 MB a file are read, split it"
    ]


def test_a_row_beyond_the_limit_is_refused_however_far_away_it_is(sqlite_store: Store, tmp_path: Path) -> None:
    path = remade(
        tmp_path / "far.xlsx", swap("xl/worksheets/sheet1.xml", b"</sheetData>", b'<row r="999999999999"/></sheetData>')
    )
    assert refused(sqlite_store, path) == ["sheet sites: more than 1048576 rows; split the workbook"]


def test_a_cell_of_more_than_32767_characters_is_refused(sqlite_store: Store, tmp_path: Path) -> None:
    path = remade(tmp_path / "long.xlsx", swap("xl/worksheets/sheet1.xml", b"Lowfield works", b"w" * 32_768))
    assert refused(sqlite_store, path) == [
        "sheet sites row 2, column name: 'wwwwwwwwwwwwwwwwwwww' has 32768 characters; at most 32767 are read"
    ]


def test_cells_beyond_the_extent_a_sheet_claims_are_read_all_the_same(tmp_path: Path) -> None:
    path = remade(tmp_path / "claims.xlsx", swap("xl/worksheets/sheet1.xml", b'ref="A1:C2"', b'ref="A1"'))
    assert read_workbook(path).tables["sites"].columns["time_zone"] == ["Europe/London"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes and links of this kind here")
def test_links_pipes_devices_and_missing_files_are_refused_unopened(sqlite_store: Store, tmp_path: Path) -> None:
    place = tmp_path / "place"
    place.mkdir()
    (place / "link.xlsx").symlink_to(book(tmp_path / "outside.xlsx", sound()))
    (place / "zero.xlsx").symlink_to("/dev/zero")
    os.mkfifo(place / "pipe.xlsx")  # opened for reading, it would wait for ever
    link = "a link that leads out of the folder is not opened; put the file itself here"
    assert refused(sqlite_store, place / "link.xlsx") == [f"link.xlsx: {link}"]
    assert refused(sqlite_store, place / "zero.xlsx") == [f"zero.xlsx: {link}"]
    assert refused(sqlite_store, place / "pipe.xlsx") == [
        "pipe.xlsx: this is a pipe, not a file, and is not opened; put an ordinary file here"
    ]
    assert refused(sqlite_store, place / "gone.xlsx") == [
        "gone.xlsx: cannot be read (No such file or directory); put a readable file here"
    ]


def test_a_workbook_without_any_sheet_of_the_format_is_refused(sqlite_store: Store, tmp_path: Path) -> None:
    assert refused(sqlite_store, book(tmp_path / "bare.xlsx", {"Sheet1": []})) == [
        "bare.xlsx: there is no sheet of the exchange format in this workbook; it holds sheets such as lines"
    ]


def test_shared_strings_keep_every_character_and_nothing_becomes_a_formula(tmp_path: Path) -> None:
    texts = ["=1+1", "'=x", " two  spaces ", "a\nb", "a\r\nb\x01", "<r><t>x</t></r>", "\u202eabc\U0001f600", "_xyz_"]
    # A third library: it writes the table of shared strings, as spreadsheet programs do
    with xlsxwriter.Workbook(str(tmp_path / "shared.xlsx")) as made:
        page = made.add_worksheet("lines")
        page.write_row(0, 0, ["line", "description"])
        for at, text in enumerate(texts, start=1):
            page.write_string(at, 0, f"X{at}")
            if text.startswith("<r>"):
                page.write_rich_string(at, 1, text[:1], made.add_format({"bold": True}), text[1:])
            else:
                page.write_string(at, 1, text)
    with zipfile.ZipFile(tmp_path / "shared.xlsx") as archive:
        assert "xl/sharedStrings.xml" in archive.namelist()
    assert read_workbook(tmp_path / "shared.xlsx").tables["lines"].columns["description"] == texts


def test_times_of_the_epoch_of_1904_and_of_either_kind_of_cell_are_told_apart(tmp_path: Path) -> None:
    # ECMA-376-1:2016, 18.17.4.1: serial 43983 is 2020-06-01 counted from 1900, 1462 days less from 1904
    for name, epoch, serial in (("b1900.xlsx", False, 43983), ("b1904.xlsx", True, 43983 - 1462)):
        with xlsxwriter.Workbook(str(tmp_path / name), {"date_1904": epoch}) as made:
            day, clock = (made.add_format({"num_format": shape}) for shape in ("d.m.yy", 22))
            page = made.add_worksheet("events")
            page.write_row(0, 0, ["line", "kind", "happened_at"])
            page.write_number(1, 2, serial, day)
            page.write_number(2, 2, serial, clock)
            page.write_number(3, 2, serial + 8 / 24, clock)
            page.write_number(4, 2, serial + 8 / 24 + 30 / 86400, day)
        assert read_workbook(tmp_path / name).tables["events"].columns["happened_at"] == [
            "2020-06-01",
            "2020-06-01T00:00",
            "2020-06-01T08:00",
            "2020-06-01T08:00:30",
        ]
