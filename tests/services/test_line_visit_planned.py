"""A line's page names the visit that is signed off for it, and no other. Rules of the project's own design."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from record_sources import NOW

from fleet.services.line_page import LineView, line_view
from fleet.services.planning.asking import Asked
from fleet.services.planning.editing import edit_outage
from fleet.services.planning.keeping import keep, reopen, sign_off
from fleet.store.engine import Store

WHO = "J. Quillam"
INTO = (("C01", "QE-2027-03"),)


def seen(store: Store, line: str, *, now: datetime = NOW) -> LineView:
    return line_view(store, line, now=now)


def test_only_a_plan_that_is_signed_off_and_ahead_is_named(own_mill_c: Store) -> None:
    code = keep(own_mill_c, Asked(into=INTO), by=WHO, now=NOW).code
    assert seen(own_mill_c, "C01").planned is None
    sign_off(own_mill_c, code, by=WHO, version=1, now=NOW)
    planned = seen(own_mill_c, "C01").planned
    assert planned is not None
    assert (planned.outage, planned.plan, planned.signed_by) == ("QE-2027-03", code, "J. Quillam (not verified)")
    # 26 March 2027, 22:00 in London is 22:00 UTC, before the clocks go forward on the 28th.
    assert planned.starts_at == datetime(2027, 3, 26, 22, tzinfo=UTC)
    assert seen(own_mill_c, "C01", now=datetime(2027, 3, 27, 12, tzinfo=UTC)).planned is None


def test_a_visit_is_not_named_once_cancelled_reopened_or_planned_otherwise(own_mill_c: Store) -> None:
    code = keep(own_mill_c, Asked(into=INTO), by=WHO, now=NOW).code
    sign_off(own_mill_c, code, by=WHO, version=1, now=NOW)
    later = keep(own_mill_c, Asked(site="QE", into=(("C01", "QE-2026-12"),)), by=WHO, now=NOW).code
    sign_off(own_mill_c, later, by=WHO, version=1, now=NOW + timedelta(hours=1))
    planned = seen(own_mill_c, "C01").planned
    assert planned is not None
    assert (planned.plan, planned.outage) == (later, "QE-2026-12")
    edit_outage(own_mill_c, {"outage": "QE-2026-12", "state": "cancelled"}, by=WHO, new=False, now=NOW)
    assert seen(own_mill_c, "C01").planned is None
    reopen(own_mill_c, later, by=WHO, why="the stop is off", version=2, now=NOW + timedelta(hours=2))
    planned = seen(own_mill_c, "C01").planned
    assert planned is not None
    assert planned.plan == code
