"""A plan is kept, saved over, signed off and reopened with its audit, or not at all; it is no fact about a machine.

The rules are the project's own, from its design of the record.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any, get_args

import pytest
from record_rows import NOON, Ids, fill
from sqlalchemy import func, insert, inspect, select, text, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from fleet.planning import CLOSED, Reason, Unkept
from fleet.reports.plan_content import HoursFrom, Pin, PlanState
from fleet.store import (
    AuditEntry,
    Base,
    KeptPlan,
    PlanChoice,
    PlanItem,
    PlanStop,
    StalePlanError,
    StoreError,
    closed,
    schema,
)
from fleet.store.bulk import table_of
from fleet.store.engine import Store
from fleet.store.plans import PlanRows, keep_plan, reopen_plan, sign_plan
from fleet.store.queries import plans
from fleet.store.versions import data_version

BEFORE = "a41d86f3e720"
"""The revision before plans were kept."""
WHO = "J. Quillam (not verified)"
AT = datetime(2026, 11, 30, 9, 30, 15, 123456, tzinfo=UTC)
START = datetime(2027, 3, 28, 0, 30, tzinfo=UTC)


@pytest.fixture
def ids(store: Store) -> Ids:
    return fill(store)


def rows(*, site: str | None = "NM", outage: str | None = "NM-2024-03", **changed: object) -> PlanRows:
    """Return a plan of the one line of the record, into its one outage or none."""
    plan: dict[str, object] = {
        "as_of": date(2026, 11, 30), "end_on": date(2028, 3, 28), "cap": 0.2, "cap_asked": True, "ahead_months": 12,
        "data_version": 7, "days_over": 31.25, "days_if_none": 120.5, "weighted_days_over": 62.5, "cost_days": 3.0,
        "over_cap": 0, "over_cap_bound": 0, "bound": 65.0, "gap": 0.0076, "seconds": 5.0, "solved_at": AT,
        "dropped": "", "lines_in_store": 1, "outages_in_store": 2,
    }  # fmt: skip
    stop: dict[str, object] = {
        "outage": "NM-2024-03", "kind": "year's stop", "site": "NM", "line": None, "starts_at": START, "ends_at": None,
        "whole_days": False, "crew_hours": 12.0, "crews": 2.0, "screw_out": True, "hours_used": 4.5,
        "state": "planned", "notes": "It has no end.\nIt overlaps.", "aside": None,
    }  # fmt: skip
    item: dict[str, object] = {
        "line": "A01", "site": "NM", "outage": outage, "rather": None, "pin": None, "status": "due", "station": "S1",
        "axis": "v", "chance_now": 0.05, "chance_before": 0.125, "chance_if_skipped": 0.75,
        "over_p10": date(2027, 1, 2), "over_p50": date(2027, 6, 1), "over_p90": None, "weight": 2.0,
        "visit_hours": 4.5, "hours_from": "own_record", "visit_cost_days": 3.0, "cool_down_h": 8.0,
        "screw_pull_h": None, "heat_up_h": 6.0, "days_over": 31.25, "days_if_skipped": 120.5, "saves": 178.5,
        "reason": "keeps_cap", "hours_missing": 0.0, "unkept": None, "above_cap": False, "needs": "crane\ntwo people",
    }  # fmt: skip
    return PlanRows(site, {**plan, **changed}, [stop], [item], [(0, 0, 0.125, "open", 18.5, False)])


def keep(store: Store, asked: PlanRows | None = None, **how: Any) -> str:
    given: dict[str, Any] = {"code": None, "over": None, "who": WHO, "at": AT, "note": None, **how}
    with store.write() as session:
        return keep_plan(session, asked or rows(), **given)


def audit(store: Store) -> list[AuditEntry]:
    with store.read() as session:
        return list(session.scalars(select(AuditEntry).order_by(AuditEntry.id)))[1:]


def head(store: Store, code: str) -> Any:
    with store.read() as session:
        found = plans.kept_plan(session, code)
        assert found is not None
        return found[0]


def test_closed_words_are_those_of_the_planning_and_of_what_a_plan_says() -> None:
    assert closed.PLAN_CLOSED == CLOSED
    assert get_args(Reason) == closed.PLAN_REASONS
    assert get_args(Unkept) == closed.PLAN_UNKEPT
    assert get_args(HoursFrom) == closed.PLAN_HOURS_FROM
    assert get_args(Pin) == closed.PLAN_PINS
    assert get_args(PlanState) == closed.PLAN_STATES


@pytest.mark.usefixtures("ids")
def test_a_kept_plan_comes_back_as_it_was_and_touches_no_fact(store: Store) -> None:
    with store.read() as session:
        stood = data_version(session)
    assert keep(store, note="before the March stop, Östanå 🔧") == "NM-PLAN-2026-11-30"
    with store.read() as session:
        assert data_version(session) == stood
        found = plans.kept_plan(session, "NM-PLAN-2026-11-30")
        assert found is not None
        plan = found[0]
        (stop,) = plans.plan_stops(session, plan.id)
        (item,) = plans.plan_items(session, plan.id)
        (choice,) = plans.plan_choices(session, plan.id)
    assert (found.site, plan.state, plan.version, plan.made_by, plan.made_at) == ("NM", "saved", 1, WHO, AT)
    assert (plan.days_over, plan.cap_asked, plan.note) == (31.25, True, "before the March stop, Östanå 🔧")
    assert (plan.signed_by, plan.signed_at) == (None, None)
    kept = stop[0]
    assert (stop.outage, stop.site, stop.line, stop.time_zone) == ("NM-2024-03", "NM", None, "Europe/London")
    # As it was then, though the outage of the record says otherwise.
    assert (kept.starts_at, kept.crew_hours, kept.screw_out, kept.notes) == (
        START,
        12.0,
        True,
        "It has no end.\nIt overlaps.",
    )
    assert (item.line, item.outage, item.rather, item[0].needs) == ("A01", "NM-2024-03", None, "crane\ntwo people")
    assert (item[0].over_p50, item[0].over_p90, item[0].saves) == (date(2027, 6, 1), None, 178.5)
    assert tuple(choice) == (0, 0, 0.125, "open", 18.5, False)


@pytest.mark.usefixtures("ids")
def test_codes_are_the_next_free_of_site_and_day_and_a_taken_one_is_refused(store: Store) -> None:
    codes = [keep(store), keep(store), keep(store), keep(store, rows(site=None)), keep(store, rows(site=None))]
    assert codes == [
        "NM-PLAN-2026-11-30", "NM-PLAN-2026-11-30-2", "NM-PLAN-2026-11-30-3", "PLAN-2026-11-30", "PLAN-2026-11-30-2",
    ]  # fmt: skip
    assert keep(store, code="March, first go") == "March, first go"
    before = len(audit(store))
    with pytest.raises(StoreError) as told:
        keep(store, code="March, first go")
    assert str(told.value) == (
        "There is a plan March, first go already; give this one another code or save over that one."
    )
    assert len(audit(store)) == before


@pytest.mark.usefixtures("ids")
def test_the_list_is_newest_first_with_visits_and_first_stop_and_of_a_site_with_those_of_all(store: Store) -> None:
    keep(store, code="one", at=AT)
    keep(store, rows(site=None, outage=None), code="two", at=AT + timedelta(hours=1))
    with store.read() as session:
        listed = plans.kept_plans(session)
        assert [row.code for row in plans.kept_plans(session, "NM")] == ["two", "one", "PLAN-KEPT"]
        assert [row.code for row in plans.kept_plans(session, "elsewhere")] == ["two", "PLAN-KEPT"]
    assert [(row.code, row.visits, row.first_start) for row in listed] == [
        ("two", 0, None), ("one", 1, START), ("PLAN-KEPT", 1, NOON),
    ]  # fmt: skip


@pytest.mark.usefixtures("ids")
def test_saving_over_a_plan_takes_its_place_and_the_audit_keeps_what_stood_there(store: Store) -> None:
    code = keep(store)
    again = rows(outage=None, days_over=120.5)
    later = AT + timedelta(days=1)
    assert keep(store, again, over=(code, 1), who="M. Adeyrin (not verified)", at=later, note="no visit") == code
    plan = head(store, code)
    assert (plan.version, plan.made_by, plan.made_at, plan.days_over) == (2, "M. Adeyrin (not verified)", later, 120.5)
    with store.read() as session:
        (item,) = plans.plan_items(session, plan.id)
        assert item.outage is None
        assert len(plans.plan_stops(session, plan.id)) == len(plans.plan_choices(session, plan.id)) == 1
    told = audit(store)[-1]
    assert (told.who, told.at, told.what) == ("M. Adeyrin (not verified)", later, f"saved the plan {code}")
    before, after = json.loads(told.before or ""), json.loads(told.after or "")
    assert (before["visits"], before["days_over"], before["made_by"]) == ({"A01": "NM-2024-03"}, 31.25, WHO)
    assert (after["visits"], after["days_over"], after["note"]) == ({}, 120.5, "no visit")


@pytest.mark.usefixtures("ids")
def test_signed_off_it_has_to_be_reopened_with_a_reason_and_every_step_is_in_the_audit(store: Store) -> None:
    code = keep(store)
    with store.write() as session:
        sign_plan(session, code, version=1, who=WHO, at=AT)
    assert (head(store, code).state, head(store, code).signed_by, head(store, code).signed_at) == (
        "signed_off",
        WHO,
        AT,
    )
    with pytest.raises(StalePlanError) as told:
        keep(store, over=(code, 2))
    assert str(told.value) == (
        f"The plan {code} was signed off by {WHO}; reopen it with a reason before saving over it, or save this one "
        "under another code."
    )
    with pytest.raises(StalePlanError, match=f"^The plan {code} was signed off already, by "), store.write() as session:
        sign_plan(session, code, version=2, who="kim", at=AT)
    with store.write() as session:
        reopen_plan(session, code, version=2, who="kim", why="the stop moved", at=AT)
    plan = head(store, code)
    assert (plan.state, plan.signed_by, plan.signed_at, plan.version) == ("saved", None, None, 3)
    with (
        pytest.raises(StalePlanError, match="is not signed off, so there is nothing to reopen"),
        store.write() as session,
    ):
        reopen_plan(session, code, version=3, who="kim", why="again", at=AT)
    assert keep(store, over=(code, 3)) == code
    told_of = audit(store)
    assert [entry.what for entry in told_of] == [
        f"saved the plan {code}", f"signed off the plan {code}", f"reopened the plan {code}", f"saved the plan {code}",
    ]  # fmt: skip
    reopened = told_of[2]
    assert json.loads(reopened.before or "")["signed_by"] == WHO
    assert json.loads(reopened.after or "")["why"] == "the stop moved"


@pytest.mark.usefixtures("ids")
@pytest.mark.parametrize("done", ["saved", "signed off", "reopened"])
def test_a_plan_somebody_changed_since_is_left_as_it_is_and_the_sentence_says_so(store: Store, done: str) -> None:
    code = keep(store)
    keep(store, over=(code, 1), who="M. Adeyrin (not verified)")
    before = len(audit(store))
    late: dict[str, Callable[[Session], object]] = {
        "saved": lambda on: keep_plan(on, rows(), code=None, over=(code, 1), who=WHO, at=AT, note=None),
        "signed off": lambda on: sign_plan(on, code, version=1, who=WHO, at=AT),
        "reopened": lambda on: reopen_plan(on, code, version=1, who=WHO, why="why", at=AT),
    }
    with pytest.raises(StalePlanError) as told, store.write() as session:
        late[done](session)
    assert str(told.value) == (
        f"The plan {code} was changed since the page was shown (last saved by M. Adeyrin (not verified)), so nothing "
        f"was {done}; look at it again first."
    )
    assert (head(store, code).version, len(audit(store))) == (2, before)


@pytest.mark.usefixtures("ids")
def test_a_plan_that_is_not_there_or_of_another_site_or_names_what_is_gone_is_told(store: Store) -> None:
    with pytest.raises(
        StalePlanError, match=r"^There is no plan X, so nothing was saved; look at the list of kept plans"
    ):
        keep(store, over=("X", 1))
    code = keep(store)
    with pytest.raises(
        StalePlanError, match=f"^The plan {code} is of another site; save this one as a plan of its own"
    ):
        keep(store, rows(site=None), over=(code, 1))
    with pytest.raises(StoreError, match=r"^The plan names the outage GONE, which is not in the record any more"):
        keep(store, rows(outage="GONE"))
    with store.read() as session:
        # Nothing of what was refused stayed.
        assert session.scalar(select(func.count()).select_from(KeptPlan)) == 2
        assert session.scalar(select(func.count()).select_from(PlanItem)) == 2


@pytest.mark.parametrize(
    ("constraint", "model", "values"),
    [
        ("ck_plan_state_known", KeptPlan, {"state": "perhaps"}),
        ("ck_plan_signed_off_by_somebody", KeptPlan, {"state": "signed_off"}),
        ("ck_plan_signed_off_by_somebody", KeptPlan, {"signed_by": "kim", "signed_at": NOON}),
        ("ck_plan_cap_in_bounds", KeptPlan, {"cap": 1.2}),
        ("ck_plan_ends_after_as_of", KeptPlan, {"end_on": date(2024, 3, 3)}),
        ("ck_plan_version_counts", KeptPlan, {"version": 0}),
        ("ck_plan_stop_crew_hours_not_negative", PlanStop, {"crew_hours": -1.0}),
        ("ck_plan_item_pin_known", PlanItem, {"pin": "held"}),
        ("ck_plan_item_pinned_into_an_outage", PlanItem, {"pin": "into", "outage_id": None}),
        ("ck_plan_item_reason_known", PlanItem, {"reason": "because"}),
        ("ck_plan_item_hours_from_known", PlanItem, {"hours_from": "thin air"}),
        ("ck_plan_item_chance_before_in_bounds", PlanItem, {"chance_before": 1.01}),
        ("ck_plan_item_unkept_known", PlanItem, {"unkept": "so"}),
        ("ck_plan_choice_closed_known", PlanChoice, {"closed": "ajar"}),
    ],
)
def test_the_database_refuses_what_is_no_plan(
    store: Store, ids: Ids, constraint: str, model: type[Base], values: dict[str, object]
) -> None:
    assert ids.line
    with pytest.raises(IntegrityError, match=constraint), store.write() as session:
        session.execute(update(model).values(**values))


@pytest.mark.usefixtures("ids")
def test_a_line_an_outage_and_their_choice_stand_once_in_a_plan(store: Store) -> None:
    for model, free in ((PlanStop, {"position": 1}), (PlanItem, {"position": 1}), (PlanChoice, {})):
        with store.read() as session:
            row = dict(session.execute(select(table_of(model))).one()._mapping)
        with pytest.raises(IntegrityError, match=r"(?i)unique"), store.write() as session:
            session.execute(insert(model), [{**row, **free, "id": 99}])


def test_going_back_before_plans_and_up_again_keeps_everything_else(own_store: Store) -> None:
    fill(own_store)
    keep(own_store)
    counted = {name: _count(own_store, name) for name in ("line", "outage", "audit")}
    schema.downgrade(own_store.engine, BEFORE)
    assert not {"plan", "plan_stop", "plan_item", "plan_choice"} & set(inspect(own_store.engine).get_table_names())
    schema.upgrade(own_store.engine)
    assert schema.check(own_store.engine) == []
    assert {name: _count(own_store, name) for name in counted} == counted
    assert _count(own_store, "plan") == 0
    assert keep(own_store) == "NM-PLAN-2026-11-30"


def _count(store: Store, table: str) -> int:
    with store.read() as session:
        return int(session.execute(text(f'select count(*) from "{table}"')).scalar_one())
