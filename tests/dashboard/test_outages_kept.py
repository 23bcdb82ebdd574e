"""Plans that are kept on the page: what may be done with the one in view, the list, and two side by side."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any

import orrindale
import pytest
from dash import dcc
from flask.testing import FlaskClient
from outages_story import KEPT, LISTED, OVER, PLAN, SHORT, at, stop
from outages_story import SOURCES as TOLD
from trees import kind_of, walk, words_of

from dashboard.address import parse
from dashboard.app import build
from dashboard.pages import outages_kept as page
from dashboard.pages.outages import outages_page
from dashboard.pages.page import Shown
from dashboard.plan_forms import reopened, saved, signed
from dashboard.plan_sources import PlanSources
from fleet.errors import InputError
from fleet.planning import PlanError
from fleet.reports.became_content import Became, ScoreContent
from fleet.reports.plan_content import PlanContent
from fleet.services.planning.asking import Asked
from fleet.services.planning.beside import side_by_side
from fleet.services.planning.keeping import Saved

NO_SCORE = ScoreContent((), 0.0, 0, None, None, None, (), (), 0)
SOURCES = replace(
    TOLD, score=lambda _: NO_SCORE, became=lambda code: Became(code, "saved", PLAN.as_of, (), 3, (), NO_SCORE)
)
SIGNED = replace(KEPT, state="signed_off", signed_by="J. Quillam (not verified)", signed_at=at(2026, 11, 23, 10))
THEN = replace(PLAN, kept=KEPT)


def shown(search: str = "", sources: PlanSources = SOURCES) -> Shown:
    return outages_page(sources, parse("/outages", search))


def text(search: str = "", sources: PlanSources = SOURCES) -> str:
    return words_of(shown(search, sources).body)


def links(search: str, sources: PlanSources = SOURCES) -> dict[str, str]:
    found = [node for node in walk(shown(search, sources).body) if kind_of(node) == "Link"]
    return {words_of(node): str(node.href) for node in found}


def ids(search: str, sources: PlanSources = SOURCES) -> set[str]:
    return {str(node.id) for node in walk(shown(search, sources).body) if getattr(node, "id", None)}


def test_a_plan_that_is_not_kept_can_be_saved_and_nothing_else() -> None:
    found = ids("site=ORR")
    assert {page.KEEP, page.KEEP_BY, page.KEEP_CODE, page.KEEP_NOTE, page.KEEP_SEEN} <= found
    assert not {page.SIGN, page.REOPEN} & found
    said = text("site=ORR")
    assert "Save this plan" in said
    assert "Three visits, 41 days over expected. It is worked out anew when it is saved" in said
    (store,) = [
        node for node in walk(shown("site=ORR").body) if isinstance(node, dcc.Store) and node.id == page.KEEP_SEEN
    ]
    assert store.data == {"version": 3, "saved": {"P-1": 2}}


def test_a_saved_plan_can_be_signed_and_a_signed_one_reopened() -> None:
    assert page.SIGN in ids("plan=P-1")
    assert not {page.KEEP, page.REOPEN} & ids("plan=P-1")
    sources = replace(SOURCES, kept=lambda _: replace(PLAN, kept=SIGNED))
    found = ids("plan=P-1", sources)
    assert {page.REOPEN, page.REOPEN_WHY} <= found
    assert not {page.KEEP, page.SIGN} & found
    assert "signed off by J. Quillam (not verified), 23 Nov 2026" in text("plan=P-1", sources)


def test_a_kept_plan_says_as_of_when_it_is_and_whether_the_record_moved_on() -> None:
    said = text("plan=P-1")
    assert "A kept plan, as of 25 Nov 2026" in said
    assert "saved by J. Quillam (not verified), 22 Nov 2026, 09:00; not signed off." in said
    assert "Nothing was recorded since, but chances grow with the days." in said
    assert "Note: first go" in said
    moved = replace(SOURCES, facts_version=lambda: 4)
    assert "The record has changed since, so a plan of today may differ." in text("plan=P-1", moved)
    assert links("plan=P-1")["Solve anew"] == "/outages?site=ORR&into=ORR-02:Y26&out=ORR-04:S27"
    assert links("plan=P-1")["Compare with one solved now"] == "/outages?plan=P-1&beside=now"
    # Another view of it is still the kept plan.
    assert links("plan=P-1")["Time axis"] == "/outages?view=time&plan=P-1"


def test_a_plan_that_is_not_kept_is_told_and_todays_shown() -> None:
    there = shown("plan=P-9")
    assert there.notes == (
        "There is no kept plan ‘P-9’; choose one from the list of kept plans. The plan worked out now is shown.",
    )
    assert page.KEEP in ids("plan=P-9")


def test_the_list_tells_of_every_kept_plan_and_links_to_it() -> None:
    said = text("site=ORR")
    for part in ("22 Nov 2026, 09:00", "by J. Quillam (not verified)", "41 days", "19 Dec 2026", "first go"):
        assert part in said, part
    assert links("site=ORR")["P-1"] == "/outages?plan=P-1"
    assert links("site=ORR&into=ORR-02:Y26")["Compare with P-1"].endswith("&beside=P-1")
    assert "P-1, in view" in text("plan=P-1")
    none = replace(SOURCES, kept_plans=lambda _: ())
    assert "No plan is kept yet." in text("site=ORR", none)
    many = tuple(replace(LISTED, code=f"P-{n}") for n in range(23))
    assert "3 older ones are not listed" in text("site=ORR", replace(SOURCES, kept_plans=lambda _: many))
    signed_off = replace(LISTED, state="signed_off", signed_by="M. Adeyrin (not verified)", signed_at=at(2026, 11, 24))
    assert "signed off24 Nov 2026, 00:00 by M. Adeyrin (not verified)" in text(
        "site=ORR", replace(SOURCES, kept_plans=lambda _: (signed_off,))
    )


def changed(plan: PlanContent, days_over: float, **lines: str | None) -> PlanContent:
    """Return the plan with lines (A12 for ORR-12) in other stops, and so many days over."""
    into = {f"ORR-{name[1:]}": code for name, code in lines.items()}
    rows = tuple(replace(row, chosen=into.get(row.line, row.chosen)) for row in plan.rows)
    return replace(plan, rows=rows, days_over=days_over, weighted_days_over=days_over, bound=days_over + 15.0)


def spoken(first: PlanContent, other: PlanContent) -> str:
    return side_by_side(first, other).said.replace("\N{NO-BREAK SPACE}", " ")


def test_the_answer_of_a_comparison_is_one_sentence() -> None:
    now = changed(PLAN, 10.0, A04="S27")
    assert spoken(THEN, now) == "The plan solved now has 31 days over fewer than P-1 with one visit more."
    assert spoken(now, THEN) == "P-1 has 31 days over more than the plan solved now with one visit fewer."
    assert spoken(THEN, PLAN) == "The plan solved now takes every line where P-1 takes it, and has as many days over."
    over = replace(changed(PLAN, 43.0, A12="Y26"), over_cap=2)
    assert spoken(THEN, over) == (
        "The plan solved now has 2 days over more than P-1 with as many visits and two lines more above its cap for "
        "lack of room."
    )
    loose = replace(changed(PLAN, 40.0, A12="Y26"), bound=30.0)
    assert spoken(THEN, loose).endswith("That is within what either may be worse than the best plan there is.")


def test_sums_of_different_days_are_not_compared_and_what_differs_is_said() -> None:
    later = replace(changed(PLAN, 10.0, A12="Y26"), as_of=PLAN.as_of + timedelta(days=10), cap=0.15, data_version=9)
    told = side_by_side(THEN, later)
    assert told.said == (
        "The plan solved now takes one line otherwise than P-1, with as many visits; their sums of days over do not "
        "compare."
    )
    assert [each.replace("\N{NO-BREAK SPACE}", " ") for each in told.apart] == [
        "P-1 counts the days from 25 Nov 2026 to 18 Oct 2028, the plan solved now those from 5 Dec 2026 to 18 Oct "
        "2028.",
        "P-1 was asked for a cap of 20 %, the plan solved now for one of 15 %.",
        "The record changed between the two, so their chances and hours may differ for that alone.",
    ]
    more = replace(PLAN, rows=(*PLAN.rows, replace(OVER, line="ORR-99", chosen=None)))
    assert side_by_side(THEN, more).apart == ("The plan solved now alone has ORR-99; its sums count it.",)


def test_lines_are_told_one_by_one_with_their_stops_days_and_chances() -> None:
    now = changed(PLAN, 10.0, A04="S27", A07=None)
    moved = tuple(
        replace(row, chosen="Y26", chance_before=0.005, days_over=2.0) if row.line == "ORR-12" else row
        for row in now.rows
    )
    now = replace(
        now, rows=moved, stops=(stop("Y26", at(2026, 12, 19), at(2026, 12, 31), 96.0, 38.0, 2), *PLAN.stops[1:])
    )
    told = side_by_side(THEN, now)
    assert [(row.line, row.change, row.before, row.after) for row in told.rows] == [
        ("ORR-04", "added", None, "S27"), ("ORR-07", "dropped", "Y26", None), ("ORR-12", "earlier", "A27", "Y26"),
    ]  # fmt: skip
    sources = replace(SOURCES, content=lambda _: now)
    said = text("site=ORR&beside=P-1", sources)
    assert said.index("Beside P-1") < said.index("Save this plan")
    for part in (
        "Here is the plan in view, the plan solved now; there is P-1.",
        "ORR-12 · earlier here",
        "A27 (16 Oct 2027) there, Y26 (19 Dec 2026) here",
        "13 % there, < 1 % here10 days there, 2 days here",
        "ORR-04 · visited here, not there",
        "no visit there, S27 (3 Apr 2027) here",
        "ORR-07 · visited there, not here",
        "Taken of the stops: Y26 26 crew h there, 38 crew h here.",
    ):
        assert part in said, part
    assert links("site=ORR&beside=P-1", sources)["Close the comparison"] == (
        "/outages?site=ORR&into=ORR-02:Y26&out=ORR-04:S27"
    )
    assert SHORT.chance_before == 0.13


def test_a_long_comparison_is_folded_so_that_the_plan_stays_within_reach() -> None:
    rows = tuple(replace(OVER, line=f"L{n}", chosen=None) for n in range(9))
    one, other = (
        replace(PLAN, rows=rows, kept=KEPT),
        replace(PLAN, rows=tuple(replace(row, chosen="Y26") for row in rows)),
    )
    sources = replace(SOURCES, content=lambda _: other, kept=lambda _: one)
    (folded,) = [
        node
        for node in walk(shown("site=ORR&beside=P-1", sources).body)
        if kind_of(node) == "Details" and "Line by line" in words_of(node)
    ]
    assert words_of(folded).startswith("Line by line: 9 lines go otherwise")
    assert words_of(folded).count("visited here, not there") == 18


def test_a_kept_plan_beside_now_asks_the_same_again_and_what_does_not_compare_is_told() -> None:
    asked: list[Asked] = []

    def content(what: Asked) -> PlanContent:
        asked.append(what)
        return PLAN

    assert "P-1 takes every line where the plan solved now takes it" in text(
        "plan=P-1&beside=now", replace(SOURCES, content=content)
    )
    assert asked == [Asked(site="ORR", into=(("ORR-02", "Y26"),), out=(("ORR-04", "S27"),))]
    for same in ("site=ORR&beside=now", "plan=P-1&beside=P-1"):
        assert "Beside" not in text(same).replace("Beside the one in view", "")
    said = text("plan=P-1&beside=P-9")
    assert "These two do not compare" in said
    assert "There is no kept plan ‘P-9’" in said

    def refuse(_: Asked) -> PlanContent:
        raise PlanError("outage Y26 ends before it starts; correct one of the two")

    assert "outage Y26 ends before it starts" in text("plan=P-1&beside=now", replace(SOURCES, content=refuse))


def test_the_list_and_the_comparison_can_be_taken_along(client: FlaskClient) -> None:
    lines = client.get("/download/kept-plans.csv?view=/outages%3Fsite=ORR").text.splitlines()
    heads = next(line for line in lines if line.startswith("plan,"))
    assert heads.split(",")[:5] == ["plan", "state", "site", "as_of", "saved_at"]
    row = lines[lines.index(heads) + 1].split(",")
    assert row[:6] == ["P-1", "saved", "ORR", "2026-11-25", "2026-11-22T09:00:00+01:00", "J. Quillam (not verified)"]
    assert row[8:] == ["3", "41.0", "2026-12-19", "first go"]
    nothing = client.get("/download/plan-beside.csv?view=/outages%3Fsite=ORR")
    assert nothing.status_code == 404
    assert "This view compares no plan with another" in nothing.text
    same = client.get("/download/plan-beside.csv?view=/outages%3Fplan=P-1%26beside=now").text
    assert "P-1 takes every line where the plan solved now takes it" in same.replace("\N{NO-BREAK SPACE}", " ")
    other = client.get("/download/plan-beside.csv?view=/outages%3Fsite=ORR%26beside=P-1").text
    assert "line,change,before,before_on,after,after_on" in other


# what the forms do


@pytest.fixture
def written() -> list[tuple[Any, ...]]:
    return []


@pytest.fixture
def writing(written: list[tuple[Any, ...]]) -> PlanSources:
    def keep(*told: Any) -> Saved:
        written.append(("keep", *told))
        if told[1] == "":
            raise InputError("The record keeps who wrote in it; type your name.")
        return Saved("P-2", "Saved as P-2.")

    def note(what: str) -> Any:
        def done(*told: Any) -> str:
            written.append((what, *told))
            if told[1] == "":
                raise InputError("The record keeps who wrote in it; type your name.")
            return f"{what} done."

        return done

    return replace(SOURCES, keep=keep, sign_off=note("sign"), reopen=note("reopen"))


SEEN = {"version": 3, "saved": {"P-1": 2}}


def test_saving_asks_for_what_the_address_asks_as_new_or_in_the_place_of_a_saved_one(
    writing: PlanSources, written: list[tuple[Any, ...]]
) -> None:
    here = parse("/outages", "site=ORR&into=ORR-02:Y26&beside=P-1")
    asked = Asked(site="ORR", into=(("ORR-02", "Y26"),))
    assert saved(writing, here, SEEN, "J. Quillam", None, "note") == (True, "Saved as P-2.", "P-2")
    assert saved(writing, here, SEEN, "J. Quillam", " P-1 ", None)[0]
    assert saved(writing, here, SEEN, None, "March", None) == (
        False, "The record keeps who wrote in it; type your name.", "",
    )  # fmt: skip
    assert written == [
        ("keep", asked, "J. Quillam", "note", "", None, 3),
        ("keep", asked, "J. Quillam", "", None, ("P-1", 2), 3),
        ("keep", asked, "", "", "March", None, 3),
    ]
    assert saved(writing, parse("/", ""), SEEN, "J. Quillam", None, None)[:2] == (
        False, "Open the outages page and save the plan there.",
    )  # fmt: skip


def test_signing_and_reopening_name_the_version_that_was_seen(
    writing: PlanSources, written: list[tuple[Any, ...]]
) -> None:
    seen = {"code": "P-1", "version": 2}
    assert signed(writing, seen, "J. Quillam") == (True, "sign done.")
    assert signed(writing, seen, None) == (False, "The record keeps who wrote in it; type your name.")
    assert reopened(writing, seen, "J. Quillam", "the stop moved") == (True, "reopen done.")
    assert reopened(writing, seen, "", None)[0] is False
    assert written[0] == ("sign", "P-1", "J. Quillam", 2)
    assert written[2] == ("reopen", "P-1", "J. Quillam", "the stop moved", 2)


@pytest.fixture
def client(writing: PlanSources) -> Iterator[FlaskClient]:
    with build(replace(orrindale.SOURCES, plans=writing)).server.test_client() as opened:
        yield opened


def press(client: FlaskClient, button: str, said: str, states: list[tuple[str, str, object]], search: str) -> Any:
    """Press a button of a form the way the browser does."""
    state = [{"id": name, "property": kind, "value": value} for name, kind, value in states]
    body = {
        "output": f"{said}.children",
        "outputs": {"id": said, "property": "children"},
        "inputs": [{"id": button, "property": "n_clicks", "value": 1}],
        "state": [*state, {"id": "url", "property": "pathname", "value": "/outages"},
                  {"id": "url", "property": "search", "value": search}],
        "changedPropIds": [f"{button}.n_clicks"],
    }  # fmt: skip
    return client.post("/_dash-update-component", json=body).get_json()


def test_the_pages_own_calls_save_sign_and_reopen_and_say_so_above_the_page(client: FlaskClient) -> None:
    typed = [(page.KEEP_SEEN, "data", SEEN), (page.KEEP_BY, "value", "J. Quillam"), (page.KEEP_CODE, "value", ""),
             (page.KEEP_NOTE, "value", "")]  # fmt: skip
    told = press(client, page.KEEP, page.KEEP_SAID, typed, "?site=ORR")
    shown_then = str(told["sideUpdate"]["content"]["children"][0])
    assert "Saved as P-2." in shown_then
    assert "/outages?plan=P-2" in shown_then
    typed[1] = (page.KEEP_BY, "value", "")
    refused = press(client, page.KEEP, page.KEEP_SAID, typed, "?site=ORR")
    assert "type your name" in str(refused["response"])
    assert "sideUpdate" not in refused
    seen = {"code": "P-1", "version": 2}
    told = press(
        client, page.SIGN, page.SIGN_SAID, [(page.SIGN_SEEN, "data", seen), (page.SIGN_BY, "value", "J. Quillam")],
        "?plan=P-1",
    )  # fmt: skip
    assert "sign done." in str(told["sideUpdate"]["content"]["children"][0])
    told = press(
        client, page.REOPEN, page.REOPEN_SAID,
        [(page.REOPEN_SEEN, "data", seen), (page.REOPEN_BY, "value", "J. Quillam"), (page.REOPEN_WHY, "value", "why")],
        "?plan=P-1",
    )  # fmt: skip
    assert "reopen done." in str(told["sideUpdate"]["content"]["children"][0])
