"""The thin lines of the Line page: nothing, one visit, only hot, no stations; and deciding on a change of drift."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from record_sources import NOW

from fleet.errors import InputError
from fleet.services import backtest
from fleet.services.line_page import line_view
from fleet.services.line_regime import decide
from fleet.services.measurement_system import gauge_rows
from fleet.services.series import current_series
from fleet.store.engine import Store

StoreOf = Callable[..., Store]

THIN = {
    "lines": "line\nBARE\nNEW\nHOT\nONCE\n",
    "stations": "line,station,distance_mm\nNEW,S1,1000\nHOT,S1,1000\nHOT,S2,2000\nONCE,S1,1000\nONCE,S2,2000\n",
    "sessions": "session,line,started_at\nH-1,HOT,2026-03-10T08:00\nO-1,ONCE,2026-03-10T08:00\n",
    "surveys": "session,survey,phase,barrel_c\nH-1,1,hot,200\nO-1,1,as_found,20\n",
    "offsets": (
        "session,survey,station,v,h,unit\nH-1,1,S1,100,0,um\nH-1,1,S2,100,0,um\nO-1,1,S1,50,0,um\nO-1,1,S2,60,0,um\n"
    ),
}


def test_every_thin_line_says_what_it_lacks(store_of: StoreOf) -> None:
    store = store_of(THIN)
    bare, new, hot, once = (line_view(store, code, now=NOW) for code in ("BARE", "NEW", "HOT", "ONCE"))
    assert (bare.stations, bare.surveys, bare.limits.missing if bare.limits else None) == ((), (), ())
    assert ([s.station for s in new.stations], new.surveys, new.only_hot) == (["S1"], (), False)
    assert (hot.surveys, hot.only_hot, hot.beside) == ((), True, None)
    assert [survey.key for survey in once.surveys] == ["O-1/1"]
    assert (once.compared, once.movement, once.beside) == (("O-1/1", None), (), None)
    assert once.history is not None
    assert len(once.history.points) == 1
    assert once.history.fan


@pytest.mark.parametrize(
    ("handle", "by", "why", "sentence"),
    [
        ("C01:v:C01-02", "", "grouted", "The record keeps who wrote in it; type your name."),
        (
            "C01:v:C01-02",
            "M. Adeyrin",
            "  ",
            "Say what happened then, or why nothing did: the reason is kept for those who come after.",
        ),
        (
            "C02:v:C02-02",
            "M. Adeyrin",
            "grouted",
            "‘C02:v:C02-02’ is not a change proposed for C01; decide on it on its own line's page.",
        ),
    ],
)
def test_a_decision_without_name_reason_or_its_own_line_is_refused(
    mill_c: Store, handle: str, by: str, why: str, sentence: str
) -> None:
    with pytest.raises(InputError) as refused:
        decide(mill_c, "C01", handle, "accept", by=by, why=why, now=NOW)
    assert str(refused.value) == sentence


def test_how_the_forecast_held_is_said_only_where_the_backtest_is_at_hand(own_mill_c: Store) -> None:
    assert line_view(own_mill_c, "C04", now=NOW).held is None
    summary = backtest.backtest_summary(own_mill_c, line="C04", now=NOW)
    assert summary.n > 0
    assert line_view(own_mill_c, "C04", now=NOW).held == summary.sentence


def test_the_fleets_gauges_are_worked_out_once_per_version_of_the_facts(
    own_mill_c: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fleet.services import measurement_system

    made: list[int] = []
    work = measurement_system.repeatability

    def counted(*args: object, **more: object) -> object:
        made.append(1)
        return work(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(measurement_system, "repeatability", counted)
    with own_mill_c.read() as record:
        fleet = current_series(record, now=NOW)
        first = [gauge_rows(record, line, NOW.date()) for line in fleet.plant.lines]
        assert [gauge_rows(record, line, NOW.date()) for line in fleet.plant.lines] == first
    # One for the instruments, one for the people, whichever line asks and however often.
    assert len(made) == 2
