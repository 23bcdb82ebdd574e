"""A table as a file: the same rows, units in headers, full precision, numbers that are numbers, its own about."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta, timezone

import openpyxl
import pytest

from fleet.errors import InputError
from fleet.reports.table_file import Column, Table, csv_text, file_name, in_unit, xlsx_bytes

COLUMNS = (
    Column("line"),
    Column("screw_diameter", "mm", "number", fixed=True),
    Column("deviation", "um", "number", "+ above / right of target"),
    Column("chance_before_next_outage", "1", "number"),
    Column("measured_on", kind="day"),
    Column("signed_at", kind="moment"),
    Column("moved", kind="yes or no"),
    Column("slope", "um/m", "number"),
    Column("distance_mm", "mm", "number"),
)
MAY_9 = datetime.fromisoformat("2026-05-09")  # a workbook knows no zones
SIGNED = datetime(2026, 10, 25, 2, 30, tzinfo=timezone(timedelta(hours=1)))
ROWS = (
    ("=HYPERLINK()", 120.0, -310.123456789, 0.1, date(2026, 5, 9), SIGNED, True, 250.0, 1500.0),
    ("-7", 63.5, None, float("nan"), None, None, False, None, 1501),
)
TABLE = Table(
    "Fleet", COLUMNS, ROWS, (("zone", "Europe/London"), ("filters", "site ORR,\nstatus due")), (date(2026, 11, 25),)
)


def read(text: str) -> tuple[list[str], list[list[str]]]:
    """Return the about lines and the rows of a CSV text, as the standard library reads them."""
    lines = text.splitlines(keepends=True)
    about = [line.strip() for line in lines if line.startswith("# ")]
    return about, list(csv.reader(io.StringIO("".join(line for line in lines if not line.startswith("# ")))))


def test_every_header_of_a_length_carries_its_unit_once() -> None:
    assert [column.header for column in COLUMNS] == [
        "line", "screw_diameter_mm", "deviation_um", "chance_before_next_outage_fraction", "measured_on", "signed_at",
        "moved", "slope_um_per_m", "distance_mm",
    ]  # fmt: skip


def test_csv_keeps_full_precision_and_iso_8601_with_the_offset() -> None:
    about, (_, first, second) = read(csv_text(TABLE))
    assert first == [
        "'=HYPERLINK()", "120.0", "-310.123456789", "0.1", "2026-05-09", "2026-10-25T02:30:00+01:00", "yes", "250.0",
        "1500.0",
    ]  # fmt: skip
    assert second == ["'-7", "63.5", "", "", "", "", "no", "", "1501"]
    assert about[:4] == ["# table: Fleet", "# zone: Europe/London", "# filters: site ORR, status due", "# rows: 2"]
    assert "# column deviation_um: um: micrometres, 0.001 mm, + above / right of target" in about


def test_in_a_workbook_numbers_are_numbers_days_are_days_and_formulas_are_text() -> None:
    book = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(TABLE)))
    assert book.sheetnames == ["Table", "About"]
    header, first, second = book["Table"].iter_rows()
    assert [cell.value for cell in header] == [column.header for column in COLUMNS]
    assert [cell.value for cell in first] == [
        "=HYPERLINK()", 120, -310.123456789, 0.1, MAY_9, "2026-10-25T02:30:00+01:00", "yes", 250, 1500,
    ]  # fmt: skip
    assert [cell.data_type for cell in first] == ["s", "n", "n", "n", "d", "s", "s", "n", "n"]
    assert first[4].number_format == "yyyy-mm-dd"
    # What looks like a number but is a code stays text; what is not known is an empty cell.
    assert (second[0].value, second[0].data_type) == ("-7", "s")
    assert second[2].value is None
    assert second[3].value is None
    about = {row[0].value: row[1].value for row in book["About"].iter_rows()}
    assert about["zone"] == "Europe/London"
    assert about["rows"] == "2"


def test_a_reader_of_thou_gets_thou_inches_and_thou_per_foot() -> None:
    table = in_unit(TABLE, "thou")
    assert [column.header for column in table.columns][1:3] == ["screw_diameter_mm", "deviation_thou"]
    assert [column.header for column in table.columns][-2:] == ["slope_thou_per_ft", "distance_in"]
    first = table.rows[0]
    # 1 in is 25.4 mm and 1 ft 0.3048 m exactly (NIST SP 811, appendix B): 1 mm/m is 12 thou/ft.
    assert first[2] == pytest.approx(-310.123456789 / 25.4, rel=1e-15)
    assert first[7] == pytest.approx(3.0, rel=1e-12)
    assert first[8] == pytest.approx(59.05511811, rel=1e-9)
    assert first[1] == 120.0
    assert first[3] == 0.1
    assert first[6] is True


def test_the_name_carries_what_when_and_which_selection() -> None:
    one, other = (file_name(TABLE, query, "xlsx") for query in ("/?status=due", "/?status=over"))
    assert one.startswith("fleet_2026-11-25_")
    assert one.endswith(".xlsx")
    assert one != other
    assert file_name(TABLE, "/?status=due", "xlsx") == one


def test_a_moment_without_zone_and_a_row_that_does_not_fit_are_refused() -> None:
    naive = Table("T", (Column("at", kind="moment"),), ((datetime(2026, 1, 1, tzinfo=UTC).replace(tzinfo=None),),))
    with pytest.raises(InputError, match=r"^2026-01-01T00:00:00 has no time zone; a file needs one$"):
        csv_text(naive)
    with pytest.raises(InputError, match=r"^a row of 'T' has 2 cells where there are 1 columns$"):
        csv_text(Table("T", (Column("a"),), ((1, 2),)))
