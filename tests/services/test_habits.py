"""What the forecast has learnt beside the rates reaches the Line page: from imported records to the view."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from fleet.services.forecasting import forecast_rows
from fleet.services.line_page import line_view
from fleet.store.engine import Store

NOW = datetime(2026, 11, 1, 12, tzinfo=UTC)
LINES = [f"L{number:02d}" for number in range(30)]
SWING_UM, HOTTEST = 60.0, 200


def _record(swing_um: float) -> dict[str, str]:
    """Return thirty lines of one site, looked at eleven times and left alone, rising and falling with the year."""
    rng = np.random.default_rng(4)
    sessions, surveys, offsets = [], [], []
    for line in LINES:
        day, height = date(2018, 6, 1) + timedelta(days=int(rng.integers(0, 365))), 0.0
        for number in range(11):
            gap = int(rng.integers(150, 250))
            day += timedelta(days=gap)
            height += 15.0 * gap / 365.25 + 15.0 * np.sqrt(gap / 365.25) * rng.standard_normal()
            turn = 2.0 * np.pi * (day.timetuple().tm_yday - HOTTEST) / 365.25
            shown = height + swing_um * np.cos(turn) + 6.0 * rng.standard_normal()
            sessions.append(f"{line}-{number},{line},{day.isoformat()}T08:00")
            surveys.append(f"{line}-{number},1,as_found")
            offsets.append(f"{line}-{number},1,S1,{shown:.1f},0,um,6,6")
    return {
        "sites": "site,time_zone\nW,UTC\n",
        "lines": "line,site\n" + "".join(f"{line},W\n" for line in LINES),
        "stations": "line,station,distance_mm\n" + "".join(f"{line},S1,2000\n" for line in LINES),
        "sessions": "session,line,started_at\n" + "\n".join(sessions) + "\n",
        "surveys": "session,survey,phase\n" + "\n".join(surveys) + "\n",
        "offsets": "session,survey,station,v,h,unit,u_v,u_h\n" + "\n".join(offsets) + "\n",
    }


def test_a_swing_of_a_site_reaches_page_and_forecast(store_of: Callable[..., Store]) -> None:
    store = store_of(_record(SWING_UM))
    history = line_view(store, "L03", station="S1", axis="v", now=NOW).history
    assert history is not None
    assert history.habits.swing_um == pytest.approx(SWING_UM, rel=0.2)
    assert history.habits.swing_peak is not None
    # The 200th day of the year is 19 July.
    assert abs((history.habits.swing_peak - date(1970, 7, 19)).days) < 15
    winter, summer = (
        forecast_rows(store, line="L03", as_of=NOW.date(), at=(on,))[0].expected[0].mean_um
        for on in (date(2027, 1, 18), date(2027, 7, 19))
    )
    # Half a year apart: both sides of the swing, and half a year's drift of 15 um a year.
    assert summer - winter == pytest.approx(2 * SWING_UM + 7.5, abs=20.0)


def test_no_swing_is_claimed_where_there_is_none(store_of: Callable[..., Store]) -> None:
    history = line_view(store_of(_record(0.0)), "L03", station="S1", axis="v", now=NOW).history
    assert history is not None
    assert history.habits.swing_um is None
    assert history.habits.jump_um is None
    assert history.habits.wander_um == pytest.approx(15.0, rel=0.5)
