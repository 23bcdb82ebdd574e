"""The address is the view: read and written the same, defaults left out, bad values said."""

from __future__ import annotations

from urllib.parse import urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.address import Address, href, parse
from fleet.services.fleet_page import FleetFilters


def test_the_fleet_at_its_defaults_has_no_query() -> None:
    assert href(Address()) == "/"


def test_every_choice_on_the_line_page_stands_in_its_address() -> None:
    address = Address(page="line", code="ORR-07", unit="thou", station="B", axis="h", a="S-05/2", b="S-06/1")
    assert href(address) == "/line/ORR-07?station=B&axis=h&a=S-05%2F2&b=S-06%2F1&unit=thou"


def test_a_status_of_two_words_is_one_word_in_the_address() -> None:
    assert href(Address(filters=FleetFilters(status="no record"))) == "/?status=no-record"


TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), min_size=1, max_size=12).filter(
    lambda text: text == text.strip()
)
FILTERS = st.builds(
    FleetFilters,
    site=st.none() | TEXT,
    status=st.sampled_from([None, "over", "due", "watch", "within", "no record"]),
    foundation=st.none() | TEXT,
    screw_diameter_mm=st.sampled_from([None, 60.0, 63.5, 152.4]),
    page=st.integers(1, 9999),
)


@given(filters=FILTERS, unit=st.sampled_from(["mm", "thou"]))
def test_what_was_written_for_the_fleet_is_read_back_the_same(filters: FleetFilters, unit: str) -> None:
    address = Address(unit=unit, filters=filters)  # type: ignore[arg-type]
    parts = urlsplit(href(address))
    assert parse(parts.path, parts.query) == address


@given(
    page=st.sampled_from(["line", "cold-offsets"]),
    code=TEXT,
    station=st.none() | TEXT,
    axis=st.sampled_from([None, "v", "h"]),
)
def test_what_was_written_for_a_line_is_read_back_the_same(
    page: str, code: str, station: str | None, axis: str | None
) -> None:
    address = Address(page=page, code=code, station=station, axis=axis)  # type: ignore[arg-type]
    parts = urlsplit(href(address))
    assert parse(parts.path, parts.query) == address


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("?unit=ell", "‘ell’ is not a unit of these pages; shown in mm."),
        ("?status=odd", "‘odd’ is not a status; lines of every status are shown."),
        ("?axis=q", "‘q’ is not an axis; write v or h. Shown without it."),
        ("?screw=wide", "‘wide’ is not a screw size in mm; every size is shown."),
        ("?screw=nan", "‘nan’ is not a screw size in mm; every size is shown."),
        ("?page=0", "‘0’ is not a page number; the first page is shown."),
        ("?page=٣", "‘٣’ is not a page number; the first page is shown."),
    ],
)
def test_a_value_that_cannot_be_read_falls_back_and_is_said(query: str, sentence: str) -> None:
    read = parse("/", query)
    assert read.notes == (sentence,)
    assert (read.unit, read.axis, read.filters) == ("mm", None, FleetFilters())


def test_an_address_without_a_page_is_unknown_and_a_line_without_code_is_a_choice() -> None:
    assert parse("/nowhere", "").page == "unknown"
    assert (parse("/line", "").page, parse("/line", "").code) == ("line", None)
    assert parse("/line/ORR%2F07", "").code == "ORR/07"


def test_what_only_a_page_reads_comes_back_as_it_was_said_and_stays_with_that_page() -> None:
    address = parse("/records", "?what=took+a+source+in&show=changes&unit=thou&station=B")
    assert (address.said("show"), address.said("what"), address.said("who")) == ("changes", "took a source in", None)
    assert href(address) == "/records?show=changes&what=took+a+source+in&unit=thou"
    assert href(address.saying(what=None, line="ORR-07")) == "/records?show=changes&line=ORR-07&unit=thou"
    assert parse("/line/ORR-07", "?show=changes").own == ()
