"""What is written as a workbook is a sound one, and reads back as the very texts; the empty one can be filled in."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from intake_sources import MILLS, SOUND, TODAY
from openpyxl import load_workbook

from fleet.intake import IntakeError, export, export_workbook, read_workbook, take, write_template
from fleet.intake.layout import PHASES, SETTINGS, SHEET, SHEETS, UNITS
from fleet.store.engine import Store, open_store

Folder = Callable[..., Path]
TEXTS = [
    *("=1+1", "+5", "-5", "@x", "'=x", "''=x", "'plain", "<r><t>x</t></r>", "<r>&</r>", "007", "1e5", "TRUE"),
    *("_x000D_", "_x005F_", "a\r\nb", "a\rb", "a\nb", "\x01\x1f", "\ufffe\uffff", "\u202eabc", "\U0001f600"),
    *(" lead", "trail ", "2020-01-01", "#N/A", '<b a="1">&amp;</b>', "https://example.org", "'", "=", "0.10"),
]


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def fresh(template: Path, path: Path) -> Store:
    path.write_bytes(template.read_bytes())
    return open_store(f"sqlite:///{path}")


def there_and_back(files: dict[str, str], folder: Folder, template: Path, place: Path) -> None:
    """Take a source in, write it as CSV and as a workbook, take the workbook into an empty record, write CSV again."""
    place.mkdir(exist_ok=True)
    first, second = fresh(template, place / "1.sqlite"), fresh(template, place / "2.sqlite")
    take(first, folder(files), who="ann", today=TODAY)
    export(first, place / "first")
    export_workbook(first, place / "all.xlsx")
    take(second, place / "all.xlsx", who="ann", today=TODAY)
    export(second, place / "second")
    first.close()
    second.close()
    assert contents(place / "first") == contents(place / "second")


def quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def test_text_of_every_kind_survives_a_workbook(folder: Folder, sqlite_template: Path, tmp_path: Path) -> None:
    rows = "".join(f"T{at},{quoted(text)}\n" for at, text in enumerate(TEXTS))
    there_and_back({"gearboxes": "gearbox,frame\n" + rows}, folder, sqlite_template, tmp_path / "texts")
    with zipfile.ZipFile(tmp_path / "texts" / "all.xlsx") as archive:
        parts = [archive.read(name) for name in archive.namelist() if name.startswith("xl/worksheets/sheet")]
    assert len(parts) > 5
    assert not any(b"<f>" in part or b"<f " in part for part in parts)


NUMBERS = ("90", "90.0", "0.10", "+5", "007.50", "0", "0.0", "100000.000001", "999999999", "0.000000000001", "1.50000")


def test_numbers_and_times_keep_the_digits_they_were_typed_with(
    folder: Folder, sqlite_template: Path, tmp_path: Path
) -> None:
    times = ("2020-06-01", "2020-06-01T00:00", "2020-06-01T08:05", "2020-06-01T08:05:00", "2020-06-01T08:05:09")
    offsets = ("2020-06-01T08:05Z", "2020-06-01T08:05+02:00", "1900-02-28T12:00", "1955-03-04T23:59:59")
    events = "line,happened_at,kind\n" + "".join(f"N0,{text},k{at}\n" for at, text in enumerate((*times, *offsets)))
    screws = "screw,diameter_mm\n" + "".join(f"N{at},{text}\n" for at, text in enumerate(NUMBERS))
    files = {"lines": SOUND["lines"] + "N0,,\n", "events": events, "screws": screws}
    there_and_back(files, folder, sqlite_template, tmp_path / "digits")
    page = load_workbook(tmp_path / "digits" / "all.xlsx")["screws"]
    found = {row[0].value: (row[1].value, row[1].number_format) for row in page.iter_rows(min_row=2)}
    assert found["N0"] == (90, "General")
    assert found["N1"] == (90, "0.0")
    assert found["N3"] == ("+5", "General")
    assert found["N9"] == (1e-12, "0.000000000000")
    page = load_workbook(tmp_path / "digits" / "all.xlsx")["events"]
    assert datetime(2020, 6, 1, 8, 5) in [row[1].value for row in page.iter_rows(min_row=2)]  # noqa: DTZ001


WEIGHT = st.decimals(min_value=0, max_value=10**9, allow_nan=False, places=None).map(lambda d: f"{d:f}")
TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.tuples(WEIGHT, TEXT), min_size=1, max_size=30))
def test_any_text_and_any_number_survive_a_workbook(
    rows: list[tuple[str, str]], folder: Folder, sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    text = "".join(f"R{at},{quoted(note)},{weight}\n" for at, (weight, note) in enumerate(rows))
    place = tmp_path_factory.mktemp("any")
    there_and_back(
        {"gearboxes": "gearbox,frame,centre_height_mm\nG,,1\n" + limited(text)}, folder, sqlite_template, place
    )


def limited(text: str) -> str:
    """Leave the heights out that lie beyond what the column allows (20 m)."""
    return re.sub(r",(\d{5,}(?:\.\d+)?|\d+\.\d{60,})\n", ",\n", text)


def test_the_parts_of_an_export_are_those_of_an_office_file(sqlite_store: Store, tmp_path: Path) -> None:
    take(sqlite_store, MILLS / "mill-c", who="ann", today=TODAY)
    written = export_workbook(sqlite_store, tmp_path / "c.xlsx")
    with zipfile.ZipFile(tmp_path / "c.xlsx") as archive:
        assert archive.testzip() is None
        names = set(archive.namelist())
        trees = {name: ElementTree.fromstring(archive.read(name)) for name in names if name.endswith((".xml", ".rels"))}
    # ECMA-376-2, 6.5: every part has a content type, by its name or its ending
    types = trees["[Content_Types].xml"]
    endings = {each.get("Extension") for each in types if each.tag.endswith("Default")}
    overrides = {str(each.get("PartName")) for each in types if each.tag.endswith("Override")}
    assert {name[1:] for name in overrides} <= names
    parts = names - {"[Content_Types].xml"}
    assert all(f"/{name}" in overrides or name.rsplit(".", 1)[-1] in endings for name in parts)
    # ECMA-376-1, 18.2.19: the workbook lists its sheets, each with a relationship to its part
    space = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
    link = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
    sheets = {each.get("name"): each.get(link) for each in trees["xl/workbook.xml"].iter(f"{space}sheet")}
    targets = {each.get("Id"): f"xl/{each.get('Target')}" for each in trees["xl/_rels/workbook.xml.rels"]}
    assert list(sheets) == list(written.rows) == [sheet.name for sheet in SHEETS if sheet.name in written.rows]
    for name, relation in sheets.items():
        page = trees[targets[relation]]
        # 18.3.1.99: the elements of a worksheet stand in this order
        order = ["dimension", "sheetViews", "sheetFormatPr", "cols", "sheetData", "dataValidations", "pageMargins"]
        assert [each.tag.removeprefix(space) for each in page if each.tag.removeprefix(space) in order] == order
        assert len(list(page.iter(f"{space}row"))) == written.rows[str(name)] + 1


def test_the_template_has_every_sheet_with_choices_help_and_a_frozen_header(tmp_path: Path) -> None:
    write_template(tmp_path / "empty.xlsx")
    made = load_workbook(tmp_path / "empty.xlsx")
    assert made.sheetnames == [sheet.name for sheet in SHEETS]
    for sheet in SHEETS:
        page = made[sheet.name]
        assert [cell.value for cell in page[1]] == [column.name for column in sheet.columns]
        assert page.freeze_panes == "A2"
        said = {str(each.sqref).split(":")[0]: each for each in page.data_validations.dataValidation}
        for at, column in enumerate(sheet.columns, start=1):
            place = page.cell(2, at).coordinate
            assert said[place].prompt.startswith(column.help), (sheet.name, column.name)
            assert said[place].prompt.endswith("Has to be filled." if column.required else "May stay empty.")
            assert str(said[place].sqref).endswith("1048576")

    def choices(sheet: str, column: str) -> tuple[str, ...]:
        at = list(SHEET[sheet].by_name).index(column) + 1
        place = made[sheet].cell(2, at).coordinate
        (found,) = [v for v in made[sheet].data_validations.dataValidation if str(v.sqref).startswith(f"{place}:")]
        assert found.type == "list"
        return tuple(found.formula1.strip('"').split(","))

    assert choices("surveys", "phase") == PHASES == ("as_found", "interim", "as_left", "hot")
    assert choices("offsets", "unit") == UNITS == ("um", "mm", "in", "thou")
    assert choices("supports", "adjusts_v") == ("yes", "no")
    assert choices("settings", "name") == SETTINGS
    assert "yearly" in choices("sessions", "reason")


def test_a_template_filled_in_by_a_spreadsheet_comes_in(sqlite_store: Store, tmp_path: Path) -> None:
    write_template(tmp_path / "visit.xlsx")
    assert take(sqlite_store, tmp_path / "visit.xlsx", who="ann", today=TODAY).nothing_new
    made = load_workbook(tmp_path / "visit.xlsx")

    def fill(sheet: str, **cells: object) -> None:
        row = made[sheet].max_row + 1
        for name, value in cells.items():
            cell = made[sheet].cell(row, list(SHEET[sheet].by_name).index(name) + 1)
            shape = made[sheet].column_dimensions[cell.column_letter].number_format
            cell.value = value  # type: ignore[assignment]
            cell.number_format = shape if isinstance(value, str) else cell.number_format

    fill("lines", line="007", commissioned_on=date(2015, 1, 1), screw_diameter_mm=90)
    fill("stations", line="007", station="S1", distance_mm=1500.5)
    fill("sessions", session="V1", line="007", started_at=datetime(2024, 5, 14, 8, 0), reason="yearly")  # noqa: DTZ001
    fill("surveys", session="V1", survey=1, phase="as_found")
    fill("offsets", session="V1", survey=1, station="S1", v=-0.125, h=0.03, unit="mm")
    made.save(tmp_path / "filled.xlsx")
    taken = take(sqlite_store, tmp_path / "filled.xlsx", who="ann", today=TODAY)
    assert dict(taken.taken) == {"lines": 1, "stations": 1, "sessions": 1, "surveys": 1, "offsets": 1}
    export(sqlite_store, tmp_path / "out")
    assert (tmp_path / "out" / "offsets.csv").read_bytes() == (
        b"session,survey,station,v,h,unit,u_v,u_h\nV1,1,S1,-0.125,0.03,mm,,\n"
    )
    assert b"V1,007,2024-05-14T08:00,yearly," in (tmp_path / "out" / "sessions.csv").read_bytes()


def test_nothing_is_written_over_and_every_refusal_leaves_nothing_behind(
    sqlite_store: Store, folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    take(
        sqlite_store,
        folder({"sites": 'site,name,time_zone\nLO,"' + "\U0001f600" * 20_000 + '",Europe/London\n'}),
        who="ann",
        today=TODAY,
    )
    place = tmp_path / "place"
    place.mkdir()
    (place / "there.xlsx").write_text("mine")

    def said(target: Path, write: Callable[[Path], object] = lambda path: export_workbook(sqlite_store, path)) -> str:
        with pytest.raises(IntakeError) as refused:
            write(target)
        return str(refused.value).replace(str(tmp_path), "PLACE")

    there = "PLACE/place/there.xlsx: there is something of this name already; name another file"
    assert said(place / "there.xlsx") == there
    assert said(place / "there.xlsx", write_template) == there
    assert said(place / "odd.xls", write_template) == "PLACE/place/odd.xls: a workbook's name ends in .xlsx; name it so"
    assert said(tmp_path / "gone" / "a.xlsx") == (
        "PLACE/gone/a.xlsx: there is no folder PLACE/gone; make it or name another"
    )
    # A cell holds 32,767 characters, counted in UTF-16: this text has 40,000 of them
    assert said(place / "a.xlsx") == (
        "PLACE/place/a.xlsx: sheet sites row 2, column name: '" + "\U0001f600" * 20 + "' is longer than a cell of a "
        "workbook holds; export a folder of CSV files"
    )
    monkeypatch.setattr("fleet.intake.workbook_writing.MOST_ROWS", 3)
    with sqlite_store.write() as session:
        session.connection().exec_driver_sql("update site set name = null")
    assert said(place / "a.xlsx") == (
        "PLACE/place/a.xlsx: sheet stations would have 3 rows and a header, at most 3 fit; export a folder of CSV files"
    )
    assert contents(place) == {"there.xlsx": b"mine"}


def test_an_empty_record_is_a_workbook_that_takes_nothing_in(sqlite_store: Store, tmp_path: Path) -> None:
    assert dict(export_workbook(sqlite_store, tmp_path / "empty.xlsx").rows) == {}
    assert read_workbook(tmp_path / "empty.xlsx").tables["lines"].rows == []
    assert take(sqlite_store, tmp_path / "empty.xlsx", who="ann", today=TODAY).nothing_new


def test_a_text_that_a_workbook_would_change_is_not_written(
    sqlite_store: Store, folder: Folder, tmp_path: Path
) -> None:
    take(sqlite_store, folder({"gearboxes": "gearbox,frame\nG1,_x005F_x000D_\n"}), who="ann", today=TODAY)
    with pytest.raises(IntakeError) as refused:
        export_workbook(sqlite_store, tmp_path / "a.xlsx")
    assert str(refused.value) == (
        f"{tmp_path}/a.xlsx: sheet gearboxes row 2, column frame: '_x005F_x000D_' holds codes between underscores that "
        "a workbook would change; export a folder of CSV files"
    )
    assert not list(tmp_path.glob("*.xlsx")) + list(tmp_path.glob(".*.part"))
