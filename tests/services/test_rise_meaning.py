"""What a typed rise means beside the last as-left, worked out on paper for a line of one entered survey."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from record_sources import NOW

from fleet.errors import InputError
from fleet.services.recording.beginning import begin_view
from fleet.services.rise_meaning import meaning
from fleet.store.engine import Store

LEFT = {
    "lines": "line\nP1\n",
    "stations": "line,station,distance_mm\nP1,S2,2000\nP1,S1,1000\n",
    "instruments": "instrument,sense_v,sense_h\nI1,bore_from_beam,bore_from_beam\nI0,,\n",
    "calibrations": "instrument,calibrated_on,due_on\nI1,2023-01-01,2024-01-01\n",
    "sessions": "session,line,started_at\nV1,P1,2024-01-01T08:00\n",
    "surveys": "session,survey,phase\nV1,1,as_left\n",
    "offsets": "session,survey,station,v,h,unit\nV1,1,S1,-0.27,0.02,mm\n",
}


@pytest.fixture
def left(store_of: Callable[..., Store]) -> Store:
    return store_of(LEFT)


def one(store: Store, **cells: str) -> Any:
    (found,) = meaning(store, "P1", [{"station": "S1", "unit": "mm", "v_rise": "0,31"} | cells], now=NOW)
    return found


def test_where_it_ran_is_the_as_left_plus_the_rise_from_the_gearbox_axis(left: Store) -> None:
    found = one(left, h_rise="-0.03")
    assert found.rise_um == (310.0, -30.0)
    assert found.left_um == pytest.approx((-270.0, 20.0))
    assert found.ran_um == pytest.approx((40.0, -10.0))


def test_a_rise_from_the_floor_has_the_gearboxs_own_rise_taken_off(left: Store) -> None:
    found = one(left, relative_to="floor", gearbox_rise="0.2")
    assert found.from_axis_um[0] == pytest.approx(110.0)
    assert found.ran_um[0] == pytest.approx(-160.0)
    assert found.ran_um[1] is None


def test_without_the_gearboxs_rise_or_an_as_left_nothing_is_said_of_where_it_ran(left: Store) -> None:
    assert one(left, relative_to="floor").ran_um is None
    assert one(left, station="S2").ran_um is None


def test_a_rise_that_is_no_number_is_refused(left: Store) -> None:
    with pytest.raises(InputError, match="number"):
        one(left, v_rise="high")


def test_a_visit_begins_with_stations_from_the_gearbox_on_and_instruments_that_can_be_read(left: Store) -> None:
    view = begin_view(left, "P1", now=NOW)
    assert view.stations == (("S1", 1000.0), ("S2", 2000.0))
    assert [each.serial for each in view.instruments] == ["I1"]
    assert view.instruments[0].calibration == "lapsed"
    assert view.zone == "UTC"
    assert view.last_as_left is not None
    assert view.last_as_left.isoformat() == "2024-01-01T08:00:00+00:00"
