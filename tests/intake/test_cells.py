"""Cells by the rules of the format, held against outside sources."""

from __future__ import annotations

import csv
import hashlib
import io
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.errors import InputError
from fleet.intake import cells, read_folder
from fleet.intake.layout import SHEET, SHEETS, Column

TODAY = date(2026, 11, 1)
STARTED = SHEET["sessions"].by_name["started_at"]
CHECKED = SHEET["running_checks"].by_name["checked_at"]
BEGINS, ENDS = (SHEET["outages"].by_name[name] for name in ("starts_at", "ends_at"))
V = SHEET["offsets"].by_name["v"]


def moment(text: str, zone: str, column: Column = BEGINS) -> datetime:
    return cells.time_of(text, column, zone=zone, today=TODAY)


def test_the_format_has_25_sheets_and_each_refers_only_to_what_stands_before_it_or_in_itself() -> None:
    assert len(SHEETS) == 25
    seen: set[str] = set()
    for sheet in SHEETS:
        seen.add(sheet.name)
        assert {column.refers for column in sheet.columns if column.refers} <= seen, sheet.name


# --- Times ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "zone", "utc"),
    [
        # The Interpretation Act and the Summer Time Order put Britain at UTC+0 in winter, UTC+1 in summer (IANA tzdata,
        # file europe, zone Europe/London)
        ("2026-01-15T08:15", "Europe/London", "2026-01-15T08:15"),
        ("2026-07-15T08:15", "Europe/London", "2026-07-15T07:15"),
        # Last minute before and first after the change of 2026-03-29, 01:00 UTC
        ("2026-03-29T00:59", "Europe/London", "2026-03-29T00:59"),
        ("2026-03-29T02:00", "Europe/London", "2026-03-29T01:00"),
        # Around the change of 2026-10-25, 01:00 UTC
        ("2026-10-25T00:59", "Europe/London", "2026-10-24T23:59"),
        ("2026-10-25T02:00", "Europe/London", "2026-10-25T02:00"),
        ("2026-10-25T01:30+01:00", "Europe/London", "2026-10-25T00:30"),
        ("2026-10-25T01:30+00:00", "Europe/London", "2026-10-25T01:30"),
        ("2026-10-25T01:30Z", "Europe/London", "2026-10-25T01:30"),
        # India stands at UTC+5:30 the year round; half hours are offsets too
        ("2026-07-15T08:15:30", "Asia/Kolkata", "2026-07-15T02:45:30"),
        ("2026-07-15T08:15-03:30", "Asia/Kolkata", "2026-07-15T11:45"),
        # Lord Howe Island changes by half an hour (tzdata, file australasia): +10:30 in winter, +11 in summer
        ("2026-07-15T08:15", "Australia/Lord_Howe", "2026-07-14T21:45"),
        ("2026-01-15T08:15", "Australia/Lord_Howe", "2026-01-14T21:15"),
        # ISO 8601: a date alone is the whole day; here its beginning
        ("2026-07-15", "Europe/Berlin", "2026-07-14T22:00"),
        # Chile changed at midnight of 2026-09-06 (tzdata, file southamerica): the day began at 01:00, UTC-3
        ("2026-09-06", "America/Santiago", "2026-09-06T04:00"),
    ],
)
def test_a_local_time_is_read_by_the_zone_of_the_site(text: str, zone: str, utc: str) -> None:
    assert moment(text, zone) == datetime.fromisoformat(utc).replace(tzinfo=UTC)


def test_a_bare_date_that_ends_something_means_the_end_of_that_day() -> None:
    assert moment("2026-12-20", "UTC", ENDS) == datetime(2026, 12, 21, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "zone", "offsets"),
    [
        ("2026-10-25T01:30", "Europe/London", "+01:00 or +00:00"),
        ("2026-10-25T02:30", "Europe/Berlin", "+02:00 or +01:00"),
        ("2026-11-01T01:30", "America/New_York", "-04:00 or -05:00"),
        ("2026-04-05T01:45", "Australia/Lord_Howe", "+11:00 or +10:30"),
    ],
)
def test_a_time_the_clock_change_repeats_asks_for_its_offset(text: str, zone: str, offsets: str) -> None:
    with pytest.raises(InputError, match=f"happens twice in {zone}") as refused:
        moment(text, zone)
    assert str(refused.value).endswith(f"add its offset, {offsets}")


@pytest.mark.parametrize(
    ("text", "zone"),
    [
        ("2026-03-29T01:30", "Europe/London"),
        ("2026-03-29T02:00", "Europe/Berlin"),
        ("2026-03-08T02:59:59", "America/New_York"),
        ("2026-10-04T02:15", "Australia/Lord_Howe"),
    ],
)
def test_a_time_the_clock_change_skips_does_not_exist(text: str, zone: str) -> None:
    with pytest.raises(InputError, match="does not exist"):
        moment(text, zone)


@pytest.mark.parametrize(
    "text",
    [
        "2026-07-15 08:15",  # ISO 8601 separates by T
        "2026-07-15T08",
        "2026-07-15T8:15",
        "2026-07-15T24:00",
        "2026-07-15T08:60",
        "2026-07-15T08:15:60",
        "2026-07-15T08:15:00.5",
        "2026-07-15T08:15+0100",
        "2026-07-15T08:15+01",
        "2026-07-15T08:15z",
        "2026-07-15t08:15",
        "20260715T0815",
        "2026-W29-3",
        "2026-196",
        "2026-02-29",
        "2026-07-15Z",
        "15.07.2026",
        "٢٠٢٦-07-15",  # digits are ASCII digits
        "2026-07-15 ",
    ],
)
def test_any_other_writing_of_a_time_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        moment(text, "UTC")


def test_tomorrow_is_let_pass_and_the_day_after_is_not() -> None:
    assert moment("2026-11-02T23:59", "UTC", CHECKED).day == 2
    with pytest.raises(InputError, match="lies ahead, after tomorrow"):
        moment("2026-11-03T00:00", "UTC", CHECKED)
    assert moment("2027-11-03T00:00", "UTC", BEGINS).year == 2027


# --- Numbers, units, codes --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text", ["1e3", "1E3", "0x10", "inf", "nan", "1_000", "1,5", ".5", "5.", "--1", "+-1", "٣", "1 2", "½"]
)
def test_only_digits_with_a_sign_and_a_point_are_a_number(text: str) -> None:
    with pytest.raises(InputError, match="is not a number"):
        cells.normal_number(text, decimal_comma=False)


@pytest.mark.parametrize(
    ("text", "kept"), [(" 0.120 ", "0.120"), ("+5", "+5"), ("-0", "-0"), ("007", "007"), ("  ", "")]
)
def test_a_number_is_kept_as_typed_without_the_spaces_around_it(text: str, kept: str) -> None:
    assert cells.normal_number(text, decimal_comma=False) == kept


def test_a_semicolon_file_may_write_the_decimal_comma() -> None:
    assert cells.normal_number("-0,098", decimal_comma=True) == "-0.098"
    assert cells.normal_number("-0.098", decimal_comma=True) == "-0.098"
    with pytest.raises(InputError):
        cells.normal_number("1.000,5", decimal_comma=True)


@pytest.mark.parametrize(
    ("text", "unit", "um"),
    [
        # The international inch is 25.4 mm exactly (NIST SP 811, B.6, note to the inch)
        ("1", "in", 25_400.0),
        ("1", "thou", 25.4),
        ("0.1", "mm", 100.0),
        ("-3", "um", -3.0),
        ("50", "mm", 50_000.0),
    ],
)
def test_a_length_is_converted_exactly(text: str, unit: str, um: float) -> None:
    assert cells.length_um(text, unit, V) == um


def test_the_bound_of_50_mm_holds_in_every_unit() -> None:
    for text, unit in [("50.001", "mm"), ("1.9686", "in"), ("1968.51", "thou"), ("50000.1", "um")]:
        with pytest.raises(InputError, match="beyond 50 mm"):
            cells.length_um(text, unit, V)
    assert cells.length_um("1968.5", "thou", V) == pytest.approx(49_999.9)


def test_a_code_is_compared_after_unicode_nfc() -> None:
    # Unicode Standard Annex 15, table 1: A with ring, three ways, one normal form
    assert {cells.normal_code(text) for text in ("\u00c5", "A\u030a", "\u212b")} == {"\u00c5"}
    # and 3.12 of the Unicode Standard: Hangul jamo compose to a syllable
    assert cells.normal_code("\u1100\u1161") == "\uac00"


@pytest.mark.parametrize("text", [" A", "A ", "\u00a0A", "A\tB", "A\nB", "A\x7f", "A" * 65])
def test_a_code_with_odd_space_or_control_characters_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        cells.normal_code(text)


def test_a_code_may_have_64_characters_from_any_plane() -> None:
    code = "\U0001f44d" * 64
    assert cells.normal_code(code) == code


@given(st.text(alphabet="'=+-@ab1"))
def test_shielding_is_undone_by_reading_and_leaves_no_formula(text: str) -> None:
    written = cells.shielded(text)
    assert not written.startswith(("=", "+", "-", "@"))
    assert cells.unshielded(written) == text


@pytest.mark.parametrize("text", ["=1+1", "-2 thou", "'quoted'", "it's"])
def test_text_that_was_never_shielded_is_kept(text: str) -> None:
    assert cells.unshielded(text) == text


@given(st.floats(min_value=-1e9, max_value=1e9))
def test_a_number_never_typed_is_written_so_that_it_reads_the_same(number: float) -> None:
    written = cells.plain(number)
    assert cells.is_number(written)
    assert float(Decimal(written)) == number


# --- RFC 4180 ---------------------------------------------------------------------------------------------------------

RFC_4180 = {
    # Section 2, items 1, 2, 5, 6, 7, with the RFC's own examples as cells of a site
    "crlf at every end": (b"site,name\r\naaa,bbb\r\nzzz,yyy\r\n", {"site": ["aaa", "zzz"], "name": ["bbb", "yyy"]}),
    "no break after the last": (b"site,name\r\naaa,bbb\r\nzzz,yyy", {"site": ["aaa", "zzz"], "name": ["bbb", "yyy"]}),
    "quoted cells": (b'site,name\r\n"aaa","bbb"\r\nzzz,yyy', {"site": ["aaa", "zzz"], "name": ["bbb", "yyy"]}),
    "a break within quotes": (
        b'site,name\r\n"aaa","b\r\nbb"\r\nzzz,yyy',
        {"site": ["aaa", "zzz"], "name": ["b\r\nbb", "yyy"]},
    ),
    "a doubled quote": (b'site,name\r\n"aaa","b""bb"\r\n', {"site": ["aaa"], "name": ['b"bb']}),
    "a comma within quotes": (b'site,name\r\naaa,"b,bb"\r\n', {"site": ["aaa"], "name": ["b,bb"]}),
    # Beyond the RFC, by the format's own rules
    "a byte order mark": (b"\xef\xbb\xbfsite,name\naaa,bbb\n", {"site": ["aaa"], "name": ["bbb"]}),
    "cr only": (b"site,name\raaa,bbb\r", {"site": ["aaa"], "name": ["bbb"]}),
    "semicolons": (b'site;name\naaa;"b;b"\n', {"site": ["aaa"], "name": ["b;b"]}),
    "only quotes": (b'site,name\naaa,""""""\n', {"site": ["aaa"], "name": ['""']}),
}


@pytest.mark.parametrize("name", RFC_4180)
def test_csv_is_read_by_rfc_4180(name: str, tmp_path: Path) -> None:
    data, expected = RFC_4180[name]
    (tmp_path / "sites.csv").write_bytes(data)
    source = read_folder(tmp_path)
    assert source.problems == []
    assert source.tables["sites"].columns == expected


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(rows=st.lists(st.tuples(st.text(alphabet='ab",;\r\n '), st.text(alphabet='ab",;\r\n ')), min_size=1, max_size=8))
def test_whatever_the_standard_library_writes_is_read_the_same(
    rows: list[tuple[str, str]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    text = io.StringIO(newline="")
    writer = csv.writer(text, quoting=csv.QUOTE_ALL)
    writer.writerow(("site", "name"))
    writer.writerows(rows)
    folder = tmp_path_factory.mktemp("csv")
    (folder / "sites.csv").write_bytes(text.getvalue().encode())
    source = read_folder(folder)
    kept = [row for row in rows if any(cell.strip() for cell in row)]
    assert source.problems == []
    table = source.tables["sites"]
    columns = (table.columns["site"], table.columns["name"])
    assert list(zip(*columns, strict=True)) == kept


def test_the_digest_depends_on_the_bytes_and_names_of_the_files_and_nothing_else(tmp_path: Path) -> None:
    digests = []
    for name, content, other in [("a", "site\nX\n", ""), ("b", "site\nX\n", "note"), ("c", "site\nY\n", "")]:
        place = tmp_path / name
        place.mkdir()
        (place / "sites.csv").write_text(content)
        (place / "notes.txt").write_text(other)
        digests.append(read_folder(place).sha256)
    # sha256sum of the line sha256sum itself prints for sites.csv with the six bytes "site\nX\n"
    line = f"{hashlib.sha256(b'site' + bytes([10]) + b'X' + bytes([10])).hexdigest()}  sites.csv\n"
    assert digests[0] == digests[1] == hashlib.sha256(line.encode()).hexdigest()
    assert digests[2] != digests[0]
