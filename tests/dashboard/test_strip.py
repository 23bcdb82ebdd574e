"""The Fleet row's strip: where days lie, which outages it shows, what it says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import orrindale
import pytest
from trees import with_class, words_of

from dashboard.components import strip

AXIS = strip.time_axis(orrindale.TODAY)


def test_the_axis_begins_with_a_month_before_today_and_spans_fifteen_months() -> None:
    assert (AXIS.start, AXIS.end) == (date(2026, 10, 1), date(2028, 1, 1))
    # 55 of the 457 days between both ends
    assert AXIS.at(orrindale.TODAY) == pytest.approx(100 * 55 / 457)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("ORR-07", "probably over since Aug 2026"),
        ("ORR-03", "Apr 2026 – Aug 2027"),
        ("ORR-12", "from Sep 2027, no end before Nov 2031"),
        ("ORR-10", "no date before Nov 2031"),
        ("ORR-13", "no record, so no date"),
    ],
)
def test_each_kind_of_row_says_its_dates_in_words(line: str, said: str) -> None:
    row = next(row for row in orrindale.ROWS if row.line == line)
    shown = strip.strip(row, AXIS, orrindale.OUTAGES, orrindale.HORIZON)
    assert words_of(shown) == said


def test_a_strip_tells_a_screen_reader_the_three_dates() -> None:
    row = next(row for row in orrindale.ROWS if row.line == "ORR-02")
    assert strip.label(row, orrindale.HORIZON, orrindale.TODAY) == (
        "ORR-02, chance of having passed the limit: 10 % by Jan 2027, 50 % by May 2027, 90 % by Apr 2028"
    )


def test_a_row_shows_the_outages_of_its_own_site_and_line_only() -> None:
    row = orrindale.ROWS[0]
    other_site = replace(orrindale.OUTAGES[0], site="ELSE")
    other_line = replace(orrindale.OUTAGES[0], line="ORR-03")
    shown = strip.strip(row, AXIS, (orrindale.OUTAGES[1], other_site, other_line), orrindale.HORIZON)
    assert len(with_class(shown, "oc")) == 1


def test_the_share_of_the_limit_is_a_figure_beside_its_mark_and_stays_inside_its_column() -> None:
    shown = strip.share_of_limit(orrindale.ROWS[0])
    assert words_of(shown) == "124 %"
    far = strip.share_of_limit(replace(orrindale.ROWS[0], deviation_um=-2000.0))
    assert words_of(far) == "800 %"
    assert with_class(far, "pt")[0].style["left"] == "100.0%"


def test_without_a_limit_there_is_no_share() -> None:
    assert words_of(strip.share_of_limit(replace(orrindale.ROWS[0], limit_um=None))) == ""
