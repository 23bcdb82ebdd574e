"""The address of Outages: what is asked is written and read back, whatever a code holds; what cannot be is said."""

from __future__ import annotations

from dataclasses import replace
from urllib.parse import urlsplit

import pytest

from dashboard.address import parse
from dashboard.pages.outages_address import (
    OutagesAsked,
    free,
    kept_out,
    pinned,
    read,
    released,
    write,
)
from fleet.services.planning.asking import Asked

HERE = parse("/outages", "")


def back(href: str) -> tuple[OutagesAsked, tuple[str, ...]]:
    parts = urlsplit(href)
    return read(parse(parts.path, parts.query))


def test_nothing_asked_is_the_bare_address() -> None:
    assert write(HERE, OutagesAsked()) == "/outages"
    assert read(HERE) == (OutagesAsked(), ())


# Codes with every character that means something in an address: the delimiters of RFC 3986, section 2.2, and more.
ODD = ("A/B", "A:B,C", "50%", "é ü", "a+b&c=d", "x?y#z", "100 %3A")


@pytest.mark.parametrize("code", ODD)
def test_a_code_may_hold_any_character(code: str) -> None:
    asked = Asked(site=code, into=((code, "Y"), ("L", code)), out=((code, code),))
    shown = OutagesAsked(asked=asked, plan=code, beside=code, what_if=code, edit=code)
    assert back(write(HERE, shown)) == (shown, ())


def test_everything_that_can_be_asked_comes_back() -> None:
    asked = Asked(
        site="ORR", cap=0.15, ahead_months=24, into=(("ORR-02", "Y26"),), out=(("ORR-03", "S27"),), seconds=30.0
    )
    shown = OutagesAsked(asked, "P-1", "P-2", "calendar", 3, 2, "crew:Y26:1", "Y26")
    href = write(parse("/outages", "unit=thou"), shown)
    assert href == (
        "/outages?site=ORR&cap=15&ahead=24&into=ORR-02:Y26&out=ORR-03:S27&seconds=30&view=calendar&plan=P-1&beside=P-2"
        "&if=crew:Y26:1&edit=Y26&page=3&stops=2&unit=thou"
    )
    assert back(href) == (shown, ())


@pytest.mark.parametrize("percent", ["7", "15", "29", "12.5"])
def test_a_cap_in_per_cent_comes_back_as_it_was_written(percent: str) -> None:
    assert write(HERE, read(parse("/outages", f"cap={percent}"))[0]) == f"/outages?cap={percent}"


@pytest.mark.parametrize(
    ("search", "sentence"),
    [
        ("cap=much", "‘much’ is not a cap in per cent from 0 to 100; the setting’s is used."),
        ("cap=150", "‘150’ is not a cap in per cent from 0 to 100; the setting’s is used."),
        ("cap=nan", "‘nan’ is not a cap in per cent from 0 to 100; the setting’s is used."),
        ("ahead=121", "‘121’ is not a number of months from 0 to 120; 12 are used."),
        ("seconds=900", "‘900’ is not a time for solving in seconds from 1 to 60; 5 are used."),
        ("view=wall", "‘wall’ is not a view of this page; write plan, time or calendar. The plan is shown."),
        ("into=ORR-02", "‘ORR-02’ is not a line and an outage; write LINE:OUTAGE. It is left aside."),
        ("out=:Y26", "‘:Y26’ is not a line and an outage; write LINE:OUTAGE. It is left aside."),
        ("page=0", "‘0’ is not a page number; the first page is shown."),
    ],
)
def test_what_cannot_be_read_falls_back_with_a_sentence(search: str, sentence: str) -> None:
    assert read(parse("/outages", search)) == (OutagesAsked(), (sentence,))


def test_a_line_in_two_outages_goes_into_the_last_one() -> None:
    shown, notes = read(parse("/outages", "into=A:Y,B:Y,A:S,A:S"))
    assert shown.asked.into == (("A", "S"), ("B", "Y"))
    assert notes == ("A is pinned into more than one outage; the last one, S, counts.",)


def test_pins_are_set_moved_and_taken_away() -> None:
    one = pinned(OutagesAsked(), "A", "Y")
    assert one.asked.into == (("A", "Y"),)
    assert pinned(one, "A", "S").asked.into == (("A", "S"),)
    out = kept_out(one, "A", "Y")
    assert (out.asked.into, out.asked.out) == ((), (("A", "Y"),))
    # Pinned where it was kept out of, it is only pinned; elsewhere it stays kept out of there.
    assert pinned(out, "A", "Y") == one
    assert pinned(out, "A", "S").asked.out == (("A", "Y"),)
    assert released(out, "A", "Y") == released(one, "A", "Y") == OutagesAsked()
    both = kept_out(pinned(one, "B", "Y"), "C", "Y")
    assert free(both, ("A", "C")).asked == replace(Asked(), into=(("B", "Y"),))
    assert free(both) == OutagesAsked()
