"""The link is the view, on every page: what an address says is read and written back, word for word.

The acceptance test 1 of what users of such pages ask for; that a fresh browser shows the same is in tests/browser.
"""

from __future__ import annotations

import pytest

from dashboard.address import href, parse
from dashboard.downloads import view_of
from dashboard.shell import PAGES

ADDRESSES = (
    "/?site=ORR&status=no-record&foundation=frame&screw=63.5&page=3&unit=thou",
    "/line/ORR-07?station=B&axis=h&a=S-05%2F2&b=S-06%2F1&unit=thou",
    "/job-sheet/ORR-07?unit=thou",
    "/record/ORR-07?unit=thou",
    "/outages?site=ORR&cap=15&ahead=24&into=ORR-02:Y26,A%252FB:Y26&out=ORR-03:S27&view=time&plan=P-1&page=2&unit=thou",
    "/compare?site=ORR&foundation=frame&screw=90&axis=h&by=foundation&unit=thou",
    "/cold-offsets?site=ORR&by=saddle&way=own_record&line=ORR-07&axis=h&unit=thou",
    "/cold-offsets/ORR-07?station=B&axis=h&unit=thou",
    "/records?show=changes&line=ORR-07&from=2026-01-01&to=2026-11-25&page=2&unit=thou",
    "/session/S-05?unit=thou",
    "/line/A%2FB%20%C3%A9",
)


@pytest.mark.parametrize("address", ADDRESSES)
def test_an_address_is_read_and_written_back_word_for_word(address: str) -> None:
    path, _, query = address.partition("?")
    view = parse(path, f"?{query}")
    assert view.notes == ()
    assert href(view) == address
    # A file taken along names the same view.
    assert view_of(address) == view


def test_every_page_is_among_those_looked_at() -> None:
    looked_at = {parse(address.partition("?")[0], "").page for address in ADDRESSES}
    assert set(PAGES) <= looked_at
