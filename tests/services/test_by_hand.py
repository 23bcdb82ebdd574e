"""A line small enough to be worked out on paper, from typed readings to status.

Two readings 180 degrees apart average to where the gearbox's axis lies, and half their difference is the beam's own
error there: -88 and +34 give -27 (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt

import pytest
from record_sources import NOW, TODAY

from fleet.services.drift import drift_rows
from fleet.services.fleet_page import whole_fleet
from fleet.services.forecasting import forecast_rows
from fleet.services.offsets import offset_rows
from fleet.services.rows import OffsetRow
from fleet.store.engine import Store

REPEATABILITY_UM = 6.0
TARGET_ZERO_UM = 8.0
WANDER_UM = 4.0

PAIRS = (
    "session,survey,sequence,station,beam_roll_deg,v,h,unit\n"
    "V1,1,1,S1,0,-88,12,um\nV1,1,2,S1,180,34,28,um\n"
    "V1,1,3,S2,0,-120,10,um\nV1,1,4,S2,180,40,50,um\n"
    "V2,1,1,S1,0,-0.110,0.012,mm\nV2,1,2,S1,180,0.012,0.028,mm\n"
    "V2,1,3,S2,0,-5,0,thou\nV2,1,4,S2,180,1,1,thou\n"
)
"""By hand, v and h: V1 S1 (-27, 20), S2 (-40, 30); V2 S1 (-49, 20), S2 (-2 thou = -50.8, 0.5 thou = 12.7) um."""


def paper(**changed: str) -> dict[str, str]:
    return {
        "lines": "line\nP1\n",
        "stations": "line,station,distance_mm\nP1,S1,1000\nP1,S2,2000\n",
        "instruments": "instrument,repeatability_um,resolution_um,target_zero_um,wander_um,sense_v,sense_h\n"
        f"I1,{REPEATABILITY_UM},0,{TARGET_ZERO_UM},{WANDER_UM},bore_from_beam,bore_from_beam\n",
        "sessions": "session,line,started_at,instrument\nV1,P1,2024-01-01T08:00,I1\nV2,P1,2025-01-01T08:00,I1\n",
        "surveys": "session,survey,phase\nV1,1,as_found\nV2,1,as_found\n",
        "readings": PAIRS,
        "tolerances": "line,station,axis,watch_um,limit_um\nP1,,v,35,5000\nP1,,h,35,5000\nP1,S2,v,10,15\n",
    } | changed


def _offset(rows: list[OffsetRow], session: str, station: str) -> OffsetRow:
    (row,) = [r for r in rows if (r.session, r.station) == (session, station)]
    return row


@pytest.fixture
def worked(store_of: Callable[..., Store]) -> Store:
    return store_of(paper())


def test_reversal_pairs_average_to_the_offset(worked: Store) -> None:
    rows = offset_rows(worked)
    by_hand = {
        ("V1", "S1"): (-27.0, 20.0),
        ("V1", "S2"): (-40.0, 30.0),
        ("V2", "S1"): (-49.0, 20.0),
        ("V2", "S2"): (-50.8, 12.7),
    }
    assert len(rows) == 4
    for (session, station), (v, h) in by_hand.items():
        row = _offset(rows, session, station)
        # What little wander the pairs' own differences suggest moves them by less than a tenth of a micrometre.
        assert (row.v_um, row.h_um) == pytest.approx((v, h), abs=0.1)
        assert (row.method, row.phase, row.survey) == ("reversal pairs", "as_found", 1)
        # No temperatures are recorded: nothing to bring to the cold reference.
        assert (row.v_cold_um, row.u_v_cold_um) == (row.v_um, row.u_v_um)


def test_an_instrument_that_shows_the_beam_turns_the_sign(store_of: Callable[..., Store]) -> None:
    turned = paper()["instruments"].replace("bore_from_beam,bore_from_beam", "beam_from_bore,bore_from_beam")
    row = _offset(offset_rows(store_of(paper(instruments=turned))), "V1", "S1")
    assert (row.v_um, row.h_um) == pytest.approx((27.0, 20.0), abs=0.1)


def test_the_uncertainty_of_a_pair_is_its_readings_its_target_and_its_wander(worked: Store) -> None:
    # Mean of two readings: s^2 / 2 (JCGM 100:2008, 4.2.3); target zero in full; wander by the pair's mean place in the
    # pass, (0 + 1/3) / 2 for the first pair and (2/3 + 1) / 2 for the second.
    rows = offset_rows(worked)
    for station, place in (("S1", 1.0 / 6.0), ("S2", 5.0 / 6.0)):
        by_hand = sqrt(REPEATABILITY_UM**2 / 2.0 + TARGET_ZERO_UM**2 + (WANDER_UM * place) ** 2)
        row = _offset(rows, "V1", station)
        assert row.u_v_um == pytest.approx(by_hand, rel=0.03)
        assert row.u_h_um == pytest.approx(by_hand, rel=0.03)
        assert row.u95_v_um > 1.96 * row.u_v_um


def test_what_moved_is_the_difference_with_both_uncertainties(worked: Store) -> None:
    rows = {(r.station, r.axis): r for r in drift_rows(worked, now=NOW)}
    by_hand = {("S1", "v"): -22.0, ("S1", "h"): 0.0, ("S2", "v"): -10.8, ("S2", "h"): -17.3}
    assert rows.keys() == by_hand.keys()
    one = sqrt(REPEATABILITY_UM**2 / 2.0 + TARGET_ZERO_UM**2)
    for key, moved in by_hand.items():
        assert rows[key].moved_um == pytest.approx(moved, abs=0.2)
        assert rows[key].u_um == pytest.approx(one * sqrt(2.0), rel=0.1)
    # 22 um against 1.96 * 13 um: no more than measuring explains.
    assert not any(row.beyond_measurement for row in rows.values())
    # From 1 January 2024 to 1 January 2025: 366 days.
    assert rows["S1", "v"].rate == pytest.approx(-22.0 / (366.0 / 365.25), abs=0.2)


def test_a_station_measured_past_its_limit_is_over_and_its_line_with_it(worked: Store) -> None:
    rows = {(r.station, r.axis): r for r in forecast_rows(worked, as_of=TODAY)}
    # S2 v: 50.8 um low without a target, limit 15: over. S1 v: 49 past its watch width 35, limit 5000: watch.
    assert rows["S2", "v"].status == "over"
    assert rows["S1", "v"].status == "watch"
    # h: 20 and 12.7 um, inside the watch width and far from the limit.
    assert (rows["S1", "h"].status, rows["S2", "h"].status) == ("within", "within")
    (line,) = whole_fleet(worked, now=NOW).rows
    assert (line.status, line.station, line.axis) == ("over", "S2", "v")


def test_a_cold_target_moves_what_is_judged(store_of: Callable[..., Store]) -> None:
    # Set low on purpose: 50.8 um low against a target of 50 um low deviates by 0.8 um.
    source = paper(
        cold_targets="session,station,v,h,unit\nV1,S2,-0.050,0,mm\n",
        tolerances="line,axis,watch_um,limit_um\nP1,v,50,400\nP1,h,50,400\n",
    )
    store = store_of(source)
    (row,) = [r for r in forecast_rows(store, as_of=TODAY) if (r.station, r.axis) == ("S2", "v")]
    assert row.last_measured_um == pytest.approx(-50.8, abs=0.1)
    assert row.position_um - row.deviation_um == pytest.approx(-50.0)
    assert row.status == "within"


def test_without_a_watch_width_half_the_limit_is_watched(store_of: Callable[..., Store]) -> None:
    # S1 v is 49 um off: past half of 90, not past half of 110; the chance of passing stays out of it.
    def status(limit: int) -> str:
        tolerances = f"line,station,axis,limit_um\nP1,S1,v,{limit}\n"
        settings = "site,name,value\n,chance_watch,0.9999\n,chance_due,0.99999\n,chance_over,0.999999\n"
        rows = forecast_rows(store_of(paper(tolerances=tolerances, settings=settings)), as_of=TODAY)
        return next(r.status for r in rows if (r.station, r.axis) == ("S1", "v"))

    assert (status(90), status(110)) == ("watch", "within")


def test_over_means_strictly_greater_than_the_watch_width(store_of: Callable[..., Store]) -> None:
    def status(watch: str) -> str:
        source = paper(
            readings="session,survey,sequence,station,v,h,unit\n",
            instruments="instrument\nI1\n",
            offsets="session,survey,station,v,h,unit,u_v,u_h\nV2,1,S1,40,0,um,5,5\n",
            tolerances=f"line,axis,watch_um,limit_um\nP1,v,{watch},20000\n",
        )
        del source["readings"]
        rows = forecast_rows(store_of(source), as_of=TODAY)
        return next(r.status for r in rows if r.axis == "v")

    assert (status("40"), status("39.99")) == ("within", "watch")
