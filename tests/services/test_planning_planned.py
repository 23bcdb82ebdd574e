"""A plan from the record: its chances are the forecast's, its windows the calendar's, its odd outages told."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime

import numpy as np
import pytest
from record_sources import MILLS, NOW
from thin_records import one, thin, visit

from fleet.planning import NO_VISIT, PinError
from fleet.reports.plan_content import PlanContent, after_skipping
from fleet.services.forecasting import forecast_rows
from fleet.services.planning.asking import NEXT_TWO, Asked
from fleet.services.planning.planned import plan_content, solved
from fleet.store.engine import Store

TODAY = NOW.date()


def row(plan: PlanContent, line: str):  # type: ignore[no-untyped-def]
    return next(each for each in plan.rows if each.line == line)


def test_chances_before_the_coming_outages_are_the_forecasts(mills: Store) -> None:
    """The same promise by another way: the forecast names each line's next outage and the chance before it."""
    plan = plan_content(mills, Asked(), now=NOW)
    said: dict[tuple[str, str], float] = {}
    for each in forecast_rows(mills, as_of=TODAY):
        if each.next_outage is not None and each.chance_before_next_outage is not None:
            key = each.line, each.next_outage
            said[key] = max(said.get(key, 0.0), each.chance_before_next_outage)
    codes = [stop.code for stop in plan.stops]
    checked = 0
    for (line, outage), chance in said.items():
        if outage in codes:
            got = row(plan, line).choices[codes.index(outage)].chance_before
            assert got == pytest.approx(chance, abs=2e-4), (line, outage)
            checked += 1
    assert checked > 20


def test_a_plan_keeps_crew_hours_scope_and_window(mills: Store) -> None:
    plan = plan_content(mills, Asked(ahead_months=24), now=NOW)
    assert plan.visits > 3
    for stop in plan.stops:
        here = plan.rows_of(stop.code)
        assert stop.visits == len(here)
        assert stop.hours_used == pytest.approx(sum(each.visit_hours for each in here))
        assert stop.crew_hours is None or stop.hours_used <= stop.crew_hours + 1e-9
        at = plan.stops.index(stop)
        for each in here:
            assert each.choices[at].closed == "open"
            assert stop.site in (None, each.site)
            assert stop.line in (None, each.line)
            takes = each.choices[at].window_h
            assert takes is not None
            assert stop.hours is None or takes <= stop.hours


def test_the_window_is_cool_down_pull_visit_and_heat_up_by_hand(mill_c: Store) -> None:
    """C01 takes 10 h to cool, 4 h to pull the screw, 8 crew h and 6 h to heat; its site's screw change has it out.

    QE-2026-12 has two crews: 10 + 4 + 8 / 2 + 6 = 24 h. C01-2027-02 has one crew: 28 h.
    """
    plan = plan_content(mill_c, Asked(ahead_months=12), now=NOW)
    codes = [stop.code for stop in plan.stops]
    takes = {code: row(plan, "C01").choices[codes.index(code)].window_h for code in codes}
    assert takes["QE-2026-12"] == pytest.approx(24.0)
    assert takes["C01-2027-02"] == pytest.approx(28.0)


def test_hours_of_a_window_count_the_hour_a_clock_change_takes_away(mill_c: Store) -> None:
    """26 Mar 2027 22:00 to 30 Mar 06:00 in London: 80 h on the wall, 79 h by the clock (summer time from 28 March)."""
    plan = plan_content(mill_c, Asked(ahead_months=12), now=NOW)
    assert plan.stop("QE-2027-03").hours == pytest.approx(79.0)


def test_no_pinned_plan_beats_the_plan(mill_c: Store) -> None:
    """Every line held in every open outage in turn, all else solved anew: none has fewer above the cap, or less sum."""
    best = solved(mill_c, Asked(ahead_months=12), now=NOW)
    tried = 0
    for i, line in enumerate(best.problem.lines):
        for j, outage in enumerate(best.problem.outages):
            if not best.problem.may[i, j]:
                continue
            other = solved(mill_c, Asked(ahead_months=12, into=((line, outage),)), now=NOW)
            assert other.plan.chosen[i] == j
            mine = best.plan.parts.over_cap, best.plan.parts.objective
            theirs = other.plan.parts.over_cap, other.plan.parts.objective
            assert theirs >= (mine[0], mine[1] - 1e-3 * max(1.0, mine[1])), (line, outage)
            tried += 1
    assert tried >= 6


def test_pins_hold_and_keep_out(mill_c: Store) -> None:
    plan = plan_content(mill_c, Asked(into=(("C03", "ER-2027-08"),), out=(("C02", "QE-2026-12"),)), now=NOW)
    held, out = row(plan, "C03"), row(plan, "C02")
    assert (held.chosen, held.pin, held.reason) == ("ER-2027-08", "into", "pinned_into")
    assert (out.pin, out.kept_out) == ("out", ("QE-2026-12",))
    assert out.chosen != "QE-2026-12"
    assert plan.pinned == 2


def test_a_pin_that_cannot_be_kept_is_named_and_nothing_is_solved(mill_c: Store) -> None:
    with pytest.raises(PinError, match=r"C03 cannot be pinned into QE-2026-12: the outage serves another site or line"):
        plan_content(mill_c, Asked(into=(("C03", "QE-2026-12"),)), now=NOW)


def test_pins_that_name_nothing_are_told(mill_c: Store) -> None:
    plan = plan_content(mill_c, Asked(into=(("C09", "QE-2026-12"),), out=(("C01", "GONE"),)), now=NOW)
    assert plan.dropped == (
        "The pin of C09 into QE-2026-12 is left out: line C09 is not in this plan.",
        "The pin of C01 out of GONE is left out: outage GONE is not in this plan.",
    )


def test_a_site_plans_its_own_lines_into_its_own_outages_and_those_of_all(mill_c: Store) -> None:
    plan = plan_content(mill_c, Asked(site="ER"), now=NOW)
    assert sorted(each.line for each in plan.rows) == ["C03", "C04", "C05"]
    assert [stop.code for stop in plan.stops] == ["ER-2027-01", "ANY-2027-05", "ER-2027-08"]
    assert plan.solved_at.tzname() == "CET"
    none = plan_content(mill_c, Asked(site="nowhere"), now=NOW)
    assert none.rows == ()
    assert none.lines_in_store == 8


def test_what_a_skipped_visit_risks_is_the_chance_before_the_next_stop_that_serves_the_line(mill_c: Store) -> None:
    plan = plan_content(mill_c, Asked(into=(("C03", "ER-2027-01"),)), now=NOW)
    codes = [stop.code for stop in plan.stops]
    here = row(plan, "C03")
    stop, chance = after_skipping(plan, here)
    assert stop is not None
    assert stop.code == "ANY-2027-05"
    assert chance == here.choices[codes.index("ANY-2027-05")].chance_before
    last = plan_content(mill_c, Asked(into=(("C03", "ER-2027-08"),)), now=NOW)
    assert after_skipping(last, row(last, "C03")) == (None, row(last, "C03").chance_if_skipped)


HEAD = "outage,line,kind,starts_at,ends_at,crew_hours,crews,state\n"


def drifting(*outages: str) -> dict[str, str]:
    """Return a line that drifts 60 um a year against a limit of 120 um, and its outages."""
    visits = [
        visit(f"{2021 + k}-06-01T08:00", ("as_found", one(-60.0 * (k > 0))), ("as_left", one(0.0))) for k in range(5)
    ]
    return thin(*visits, outages=HEAD + "".join(f"{row}\n" for row in outages))


def test_odd_outages_are_told_each_with_its_sentence(store_of: Callable[..., Store]) -> None:
    store = store_of(
        drifting(
            "PAST,T1,stop,2026-05-01T06:00Z,2026-05-04T06:00Z,40,1,planned",
            "DONE,T1,stop,2026-06-01T06:00Z,2026-06-04T06:00Z,40,1,done",
            "BEGUN,T1,stop,2026-10-30T06:00Z,2026-11-03T06:00Z,40,1,planned",
            "EMPTY,T1,stop,2026-12-01T06:00Z,2026-12-04T06:00Z,0,1,planned",
            "ONE,T1,stop,2027-02-01T06:00Z,2027-02-04T06:00Z,40,1,planned",
            "TWO,T1,stop,2027-02-03T06:00Z,2027-02-06T06:00Z,40,1,planned",
            "BARE,T1,stop,2027-04-01T06:00Z,2027-04-04T06:00Z,,,planned",
            "OFF,T1,stop,2027-05-01T06:00Z,2027-05-02T06:00Z,40,1,cancelled",
            "FAR,T1,stop,2028-02-01T06:00Z,2028-02-04T06:00Z,40,1,planned",
        )
    )
    plan = plan_content(store, Asked(), now=NOW)
    assert [stop.code for stop in plan.stops] == ["EMPTY", "ONE", "TWO", "BARE"]
    space = "\N{NO-BREAK SPACE}"
    assert [each.why.replace(space, " ") for each in plan.aside] == [
        "PAST was planned for 1 May 2026, which is past; mark it done or cancelled.",
        "BEGUN has begun; nothing is planned into it any more.",
        "OFF is cancelled.",
        "FAR begins 1 Feb 2028, further ahead than the 12 months looked at; look further ahead to plan into it.",
    ]
    assert plan.stop("EMPTY").notes == (
        "EMPTY has no crew hours, so no line goes into it; give it some to plan into it.",
    )
    assert plan.stop("ONE").notes == (
        "ONE overlaps TWO: each counts its own crew hours, so take care that a crew is not counted twice.",
    )
    assert plan.stop("BARE").notes == ("No crew hours are recorded for BARE; they are taken as not limited.",)
    here = row(plan, "T1")
    assert [choice.closed for choice in here.choices] == ["crew_hours_too_few", "open", "open", "open"]
    # Nothing is within reach: the plan looks at the next one all the same.
    only_far = store_of(drifting("FAR,T1,stop,2028-02-01T06:00Z,2028-02-04T06:00Z,40,1,planned"))
    assert [stop.code for stop in plan_content(only_far, Asked(), now=NOW).stops] == ["FAR"]


def test_without_outages_or_lines_or_forecasts_a_plan_is_empty_and_whole(store_of: Callable[..., Store]) -> None:
    empty = plan_content(store_of(), Asked(), now=NOW)
    assert (empty.rows, empty.stops, empty.lines_in_store, empty.outages_in_store) == ((), (), 0, 0)
    no_outages = plan_content(store_of(drifting()), Asked(), now=NOW)
    assert no_outages.stops == ()
    assert row(no_outages, "T1").reason == "no_outage_open"
    assert (no_outages.end_on - no_outages.as_of).days == 365
    unmeasured = plan_content(
        store_of(thin(outages=HEAD + "ONE,T1,stop,2027-02-01T06:00Z,2027-02-04T06:00Z,40,1,planned\n")),
        Asked(),
        now=NOW,
    )
    here = row(unmeasured, "T1")
    assert (here.status, here.chosen, here.reason) == ("no record", None, "no_forecast")
    assert here.chance_before is None
    assert here.days_over is None


def test_whole_days_are_told_from_hours_in_the_zone_of_their_site(store_of: Callable[..., Store]) -> None:
    """Midnight in Auckland is noon of the day before in UTC, in Los Angeles 8 in the morning."""
    for zone, utc in (("Pacific/Auckland", "2027-01-31T11:00"), ("America/Los_Angeles", "2027-02-01T08:00")):
        source = thin(visit("2025-06-01T08:00", ("as_left", one(0.0))))
        source["sites"] = f"site,name,time_zone\nSX,Somewhere,{zone}\n"
        source["lines"] = "line,site\nT1,SX\n"
        source["outages"] = (
            "outage,site,kind,starts_at,ends_at,crew_hours\n"
            "WHOLE,SX,stop,2027-02-01,2027-02-04,40\nHOURS,SX,stop,2027-03-01T06:00,2027-03-04,40\n"
        )
        plan = plan_content(store_of(source), Asked(), now=NOW)
        whole, hours = plan.stops
        assert whole.whole_days
        assert whole.starts_at.date() == date(2027, 2, 1)
        assert whole.starts_at.astimezone(UTC) == datetime.fromisoformat(f"{utc}+00:00")
        assert not hours.whole_days


def test_another_limit_changes_the_chances_and_an_earlier_day_knows_less(mill_c: Store) -> None:
    from fleet.services.planning.known import known
    from fleet.services.series import load_series

    with mill_c.read() as record:
        fleet = load_series(record, now=NOW)
        as_it_is = known(record, fleet, Asked(), now=NOW).situation.curves
        wider = known(record, fleet, Asked(), now=NOW, limit_um={"*": 1e6}).situation.curves
    assert np.nanmax(wider.chance) < 1e-6 < np.nanmax(as_it_is.chance)
    before = plan_content(mill_c, Asked(), now=datetime(2025, 6, 1, 12, tzinfo=UTC))
    assert before.as_of == date(2025, 6, 1)
    assert "QE-2025-10" in [stop.code for stop in before.stops]


def test_mills_come_in_whole(mills: Store) -> None:
    assert (MILLS / "mill-c" / "outages.csv").exists()
    done = solved(mills, Asked(ahead_months=24), now=NOW)
    visited = done.plan.chosen != NO_VISIT
    assert np.all(done.problem.may[np.arange(visited.size), done.plan.chosen])


def test_the_next_two_stops_are_those_of_each_site_and_count_to_half_a_year_after(mill_c: Store) -> None:
    """Read from the mill's outages.csv: QE stops in December and March, ER in January and, of all sites, in May."""
    plan = plan_content(mill_c, Asked(ahead_months=NEXT_TWO), now=NOW)
    assert [stop.code for stop in plan.stops] == [
        "QE-2026-12",
        "ER-2027-01",
        "C01-2027-02",
        "QE-2027-03",
        "ANY-2027-05",
    ]
    # ANY-2027-05 ends at the midnight to 3 May 2027; 182 days after that is the midnight to 1 November.
    assert plan.end_on == date(2027, 10, 31)
    assert [each.why for each in plan.aside if each.code == "ER-2027-08"] == [
        "ER-2027-08 begins 7\N{NO-BREAK SPACE}Aug\N{NO-BREAK SPACE}2027, further ahead than the next two stops looked "
        "at; look further ahead to plan into it."
    ]
    by_months = plan_content(mill_c, Asked(ahead_months=12), now=NOW)
    assert "ER-2027-08" in [stop.code for stop in by_months.stops]
    # One year after the summer stop at Eskrigg, 12 Aug 2027.
    assert by_months.end_on == date(2028, 8, 11)


def test_a_stop_of_every_site_that_is_third_for_all_is_not_among_the_next_two(store_of: Callable[..., Store]) -> None:
    source = drifting()
    source["sites"] = "site,time_zone\nSX,UTC\n"
    source["lines"] = "line,site\nT1,SX\n"
    source["outages"] = (
        "outage,site,kind,starts_at,ends_at,crew_hours\nONE,SX,stop,2027-01-01,2027-01-04,40\n"
        "TWO,SX,stop,2027-02-01,2027-02-04,40\nALL,,stop,2027-03-01,2027-03-04,40\n"
    )
    plan = plan_content(store_of(source), Asked(ahead_months=NEXT_TWO), now=NOW)
    assert [stop.code for stop in plan.stops] == ["ONE", "TWO"]
