"""Plans that are kept come back whole, stand until reopened, and compare with each other and with today's.

The rules are the project's own, from its design of the record; figures are the plan's own before it was kept.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from record_sources import MILLS, NOW

from fleet.errors import InputError, NotFoundError
from fleet.planning import PinError, PlanError
from fleet.reports.plan_content import Kept
from fleet.services.importing import import_folder
from fleet.services.planning.asking import Asked
from fleet.services.planning.beside import beside, same_days
from fleet.services.planning.editing import edit_outage
from fleet.services.planning.keeping import asked_of, keep, kept_plan, kept_plans, reopen, sign_off
from fleet.services.planning.kept_rows import rows_of_content
from fleet.services.planning.planned import plan_content
from fleet.store import StalePlanError, StoreError
from fleet.store.engine import Store
from fleet.store.plans import keep_plan
from fleet.store.versions import data_version

WHO = "J. Quillam"
MARKED = "J. Quillam (not verified)"
LATER = NOW + timedelta(hours=3)
ODD = (
    "outage,site,line,kind,starts_at,ends_at,crew_hours,crews,state\n"
    "ER-OPEN,ER,,\"stop, 'long' 🔧\",2027-02-01T06:00,2027-02-03T06:00,,,planned\n"
    "ER-NOBODY,ER,,stop,2027-03-27T00:00,2027-03-29T00:00,0,0,planned\n"
    "ER-FAR,ER,,stop,2028-06-01T06:00,2028-06-03T06:00,20,1,planned\n"
)
"""One without hours, one far off, and whole days without a crew in which the clocks go forward (28 March 2027)."""


def version(store: Store) -> int:
    with store.read() as record:
        return data_version(record)


@pytest.fixture
def odd(store: Store, tmp_path: Path) -> Store:
    """The small mill with odd outages, on each engine."""
    import_folder(store, MILLS / "mill-c", who="tester", now=NOW)
    (tmp_path / "odd").mkdir()
    (tmp_path / "odd" / "outages.csv").write_text(ODD, encoding="utf-8")
    import_folder(store, tmp_path / "odd", who="tester", now=NOW)
    return store


def test_a_plan_comes_back_as_it_was_on_both_engines(odd: Store) -> None:
    asked = Asked(
        cap=0.15,
        into=(("C03", "ER-2027-08"), ("GONE", "ER-2027-08")),
        out=(("C02", "QE-2026-12"), ("C02", "QE-2027-03")),
        seconds=3.0,
    )
    plan = plan_content(odd, asked, now=NOW)
    # The format asks for an end, the record does not.
    first, *others = plan.stops
    plan = replace(plan, stops=(replace(first, ends_at=None), *others))
    # Everything else that may be missing is missing somewhere, or the way back is not tried.
    assert plan.aside
    assert plan.dropped
    assert any(stop.notes for stop in plan.stops)
    assert any(stop.crew_hours is None for stop in plan.stops)
    assert any(choice.window_h is None for row in plan.rows for choice in row.choices)
    assert any(row.site is None for row in plan.rows)
    assert any(row.chance_before is None for row in plan.rows)
    assert any(row.needs for row in plan.rows)
    assert {row.pin for row in plan.rows} == {None, "into", "out"}
    stood = version(odd)
    with odd.write() as transaction:
        code = keep_plan(
            transaction, rows_of_content(plan), code=None, over=None, who=MARKED, at=LATER, note="first go"
        )  # fmt: skip
    back = kept_plan(odd, code)
    kept = Kept("PLAN-2026-11-01", "saved", MARKED, LATER, None, None, "first go", 1)
    assert back == replace(plan, kept=kept)
    for was, now in zip(plan.stops, back.stops, strict=True):
        assert str(was.starts_at) == str(now.starts_at), "the same moment in another zone is equal, but reads otherwise"
    assert str(back.solved_at) == str(plan.solved_at)
    assert version(odd) == stood


def test_keeping_works_the_plan_out_anew_and_asked_of_it_asks_the_same(own_mill_c: Store) -> None:
    asked = Asked(site="ER", into=(("C03", "ER-2027-08"),))
    saved = keep(own_mill_c, asked, by=WHO, note=" for the August stop ", seen=version(own_mill_c), now=NOW)
    assert saved.code == "ER-PLAN-2026-11-01"
    back = kept_plan(own_mill_c, saved.code)
    assert saved.said.startswith("Saved as ER-PLAN-2026-11-01: ")
    assert "has changed" not in saved.said
    assert back.kept == Kept(saved.code, "saved", MARKED, NOW, None, None, "for the August stop", 1)
    assert back.kept.made_at.tzname() == "CET"
    assert replace(back, kept=None) == plan_content(own_mill_c, asked, now=NOW)
    assert asked_of(back) == asked
    capped = keep(own_mill_c, Asked(cap=0.3, out=(("C02", "QE-2026-12"),), ahead_months=6), by=WHO, now=NOW)
    assert asked_of(kept_plan(own_mill_c, capped.code)) == Asked(cap=0.3, out=(("C02", "QE-2026-12"),), ahead_months=6)


def test_what_is_kept_is_what_the_record_says_now_and_stays_though_the_record_moves_on(own_mill_c: Store) -> None:
    seen = version(own_mill_c)
    before = plan_content(own_mill_c, Asked(), now=NOW)
    edit_outage(own_mill_c, {"outage": "QE-2026-12", "crew_hours": "0"}, by=WHO, new=False, now=NOW)
    saved = keep(own_mill_c, Asked(), by=WHO, seen=seen, now=NOW)
    assert saved.said.endswith("The record has changed since the page was shown; the figures kept are those of now.")
    kept = kept_plan(own_mill_c, saved.code)
    assert (before.stop("QE-2026-12").crew_hours, kept.stop("QE-2026-12").crew_hours) == (40.0, 0.0)
    assert kept.data_version == version(own_mill_c) > seen
    # The outage moves; the kept plan tells when it was to be.
    edit_outage(
        own_mill_c,
        {"outage": "QE-2026-12", "starts_at": "2027-01-15T06:00", "ends_at": "2027-01-19T18:00"},
        by=WHO, new=False, now=NOW,
    )  # fmt: skip
    assert kept_plan(own_mill_c, saved.code) == kept
    assert plan_content(own_mill_c, Asked(), now=NOW).stop("QE-2026-12").starts_at.month == 1


def test_a_plan_is_saved_over_signed_off_and_reopened(own_mill_c: Store) -> None:
    code = keep(own_mill_c, Asked(), by=WHO, now=NOW).code
    again = keep(own_mill_c, Asked(cap=0.4), by="M. Adeyrin", over=(code, 1), now=LATER)
    assert again.code == code
    back = kept_plan(own_mill_c, code)
    assert (back.cap, back.kept and back.kept.version) == (0.4, 2)
    said = sign_off(own_mill_c, code, by=WHO, version=2, now=LATER)
    assert said == f"{code} is signed off by {MARKED}. It stands until somebody reopens it with a reason."
    signed = kept_plan(own_mill_c, code).kept
    assert signed is not None
    assert (signed.state, signed.signed_by, signed.signed_at) == ("signed_off", MARKED, LATER)
    with pytest.raises(StalePlanError, match=r"was signed off by J\. Quillam"):
        keep(own_mill_c, Asked(), by=WHO, over=(code, 3), now=LATER)
    with pytest.raises(InputError, match=r"^A plan that is signed off is reopened with a reason; type why\.$"):
        reopen(own_mill_c, code, by=WHO, why="  ", version=3)
    reopen(own_mill_c, code, by=WHO, why="the stop moved", version=3, now=LATER)
    assert keep(own_mill_c, Asked(), by=WHO, over=(code, 4), now=LATER).code == code
    with pytest.raises(StalePlanError, match="was changed since the page was shown"):
        sign_off(own_mill_c, code, by=WHO, version=4)


def test_the_list_of_kept_plans_is_newest_first_in_the_zone_of_each_site(own_mill_c: Store) -> None:
    assert kept_plans(own_mill_c) == ()
    one = keep(own_mill_c, Asked(site="ER"), by=WHO, now=NOW).code
    two = keep(own_mill_c, Asked(), by=WHO, note="both", now=LATER).code
    sign_off(own_mill_c, one, by="M. Adeyrin", version=1, now=LATER)
    listed = kept_plans(own_mill_c)
    assert [line.code for line in listed] == [two, one]
    assert [line.code for line in kept_plans(own_mill_c, "QE")] == [two]
    plan = kept_plan(own_mill_c, one)
    newest, er = listed
    assert (newest.site, newest.state, newest.note, newest.made_at.tzname()) == (None, "saved", "both", "UTC")
    assert (er.state, er.signed_by, er.signed_at, er.version) == ("signed_off", "M. Adeyrin (not verified)", LATER, 2)
    assert (er.visits, er.days_over) == (plan.visits, plan.days_over)
    assert er.made_at.tzname() == "CET"
    starts = [stop.starts_at for stop in plan.stops if stop.visits]
    assert er.first_start == min(starts, default=None)
    assert starts, "without a visit the first start is not tried"


def test_what_cannot_be_kept_is_told_and_nothing_is(own_mill_c: Store, store_of: Callable[..., Store]) -> None:
    def refused(said: str, error: type[Exception] = InputError, **how: object) -> None:
        given: dict[str, object] = {"by": WHO, "now": NOW, **how}
        asked = given.pop("asked", Asked())
        store = given.pop("store", own_mill_c)
        with pytest.raises(error, match=said):
            keep(store, asked, **given)  # type: ignore[arg-type]

    refused("type your name", by="  ")
    refused("is what the plan solved today is called; give the plan another code", code="Now")
    refused("has 65 characters; a code has at most 64", code="x" * 65)
    refused("The note has 501 characters; say it in 500 or fewer", note="x" * 501)
    refused("C03 cannot be pinned into QE-2026-12", PinError, asked=Asked(into=(("C03", "QE-2026-12"),)))
    refused("There is no line in this plan, so there is nothing to save", asked=Asked(site="nowhere"))
    refused("There is no line in this plan", store=store_of())
    assert kept_plans(own_mill_c) == ()
    code = keep(own_mill_c, Asked(), by=WHO, code=" March: first ", now=NOW).code
    assert code == "March: first"
    refused("There is a plan March: first already", StoreError, code="March: first")
    with pytest.raises(
        NotFoundError, match=r"^There is no kept plan ‘NONE’; choose one from the list of kept plans\.$"
    ):
        kept_plan(own_mill_c, "NONE")


def test_a_kept_plan_beside_todays_tells_what_changed(own_mill_c: Store) -> None:
    free = plan_content(own_mill_c, Asked(), now=NOW)
    line = next(row for row in free.rows if row.chosen is not None)
    code = keep(own_mill_c, Asked(), by=WHO, now=NOW).code
    kept = kept_plan(own_mill_c, code)
    nothing = beside(kept, free)
    assert (nothing.lines, nothing.days_over, nothing.visits, nothing.proved) == ((), 0.0, 0, False)
    out = tuple((line.line, stop.code) for stop in free.stops)
    without = plan_content(own_mill_c, Asked(out=out), now=NOW)
    assert same_days(kept, without)
    told = beside(kept, without)
    assert (line.line, "dropped", line.chosen, None) in {
        (each.line, each.change, each.before, each.after) for each in told.lines
    }
    # By hand from the two contents, without the comparison.
    assert told.days_over == pytest.approx(without.days_over - free.days_over)
    assert told.days_over > 0.0
    assert told.visits == without.visits - free.visits
    back = beside(without, kept)
    assert (line.line, "added") in {(each.line, each.change) for each in back.lines}


def test_a_line_added_since_is_named_and_plans_of_two_sites_do_not_compare(own_mill_c: Store, tmp_path: Path) -> None:
    kept = kept_plan(own_mill_c, keep(own_mill_c, Asked(site="ER"), by=WHO, now=NOW).code)
    (tmp_path / "lines.csv").write_text("line,site,screw_diameter_mm\nC99,ER,90\n", encoding="utf-8")
    import_folder(own_mill_c, tmp_path, who="tester", now=NOW)
    now = plan_content(own_mill_c, Asked(site="ER"), now=NOW)
    assert (beside(kept, now).only_first, beside(kept, now).only_other) == ((), ("C99",))
    assert kept_plan(own_mill_c, "ER-PLAN-2026-11-01") == kept
    other = plan_content(own_mill_c, Asked(site="QE"), now=NOW)
    with pytest.raises(PlanError, match="two plans without a line in common"):
        beside(kept, other)
    assert not same_days(kept, plan_content(own_mill_c, Asked(site="ER"), now=datetime(2026, 11, 3, tzinfo=UTC)))
