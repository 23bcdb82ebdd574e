"""After the outage: real visits through the intake, beside a plan whose chances are set by hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from record_sources import write_source
from scipy import stats

from fleet.errors import NotFoundError
from fleet.reports.became_content import Became, BecameLine, ScoreContent
from fleet.reports.plan_content import PlanContent, PlanRow
from fleet.services.importing import import_folder
from fleet.services.line_page import line_view
from fleet.services.planning.asking import Asked
from fleet.services.planning.became import became, own_score
from fleet.services.planning.example import keep_example
from fleet.services.planning.kept_rows import rows_of_content
from fleet.services.planning.planned import plan_content
from fleet.store.engine import Store
from fleet.store.plans import keep_plan, sign_plan

NOW = datetime(2026, 11, 1, 12, 0, tzinfo=UTC)
MADE = datetime(2026, 5, 1, 19, 0, tzinfo=UTC)
"""Noon of 1 May 2026 at the site in the west, UTC-7 (its summer time)."""
WEST = ("W1", "W2", "W3", "W4", "W5", "W6", "W7")
LINES = (*WEST, "E1")
VISITS = (
    # line, local start, outage, phases, offset as found [mm], crew hours
    ("W1", "2026-06-12T22:30", "WE-JUN", ("as_found", "as_left"), "-0.15", "12"),
    ("W2", "2026-06-16T17:00", "", ("as_found", "as_left"), "0.10", ""),
    ("W3", "2026-08-11T08:00", "WE-AUG", ("as_found", "as_left"), "0.12", "7.5"),
    ("W5", "2026-07-03T08:00", "", ("as_found",), "0.02", ""),
    ("W6", "2026-05-01T22:30", "", ("as_found", "as_left"), "0.30", ""),
    ("E1", "2026-06-11T08:00", "EA-JUN", ("as_left",), "0.01", "6"),
)
"""W1 late in the evening of 12 June is 13 June in UTC; W2 names no outage, 23 h after WE-JUN ended; W6 was visited on
the evening of the plan's own day."""


def source(visits: Sequence[tuple[str, str, str, tuple[str, ...], str, str]] = VISITS) -> dict[str, str]:
    sessions, surveys, offsets, findings = (
        ["session,line,started_at,outage"], ["session,survey,phase,barrel_c,gearbox_c,bolts"],
        ["session,survey,station,v,h,unit"], ["session,item,value"],
    )  # fmt: skip
    for line, start, outage, phases, found, hours in (
        *((line, "2025-05-02T08:00", "", ("as_left",), "0.01", "") for line in LINES),
        *visits,
    ):
        code = f"{line}-{start[:7]}"
        sessions.append(f"{code},{line},{start},{outage}")
        for number, phase in enumerate(phases, start=1):
            surveys.append(f"{code},{number},{phase},20,20,torqued")
            offsets.append(f"{code},{number},S1,{found if phase == 'as_found' else '0.01'},0,mm")
            offsets.append(f"{code},{number},S2,0.01,0,mm")
        if hours:
            findings.append(f"{code},crew hours,{hours}")
    tables = {"sessions": sessions, "surveys": surveys, "offsets": offsets, "findings": findings}
    return {
        "sites": "site,name,time_zone\nEA,East works,Asia/Tokyo\nWE,West works,America/Los_Angeles\n",
        "lines": "line,site,visit_hours\n" + "".join(f"{line},WE,10\n" for line in WEST) + "E1,EA,8\n",
        "stations": "line,station,distance_mm\n" + "".join(f"{line},S1,1500\n{line},S2,2500\n" for line in LINES),
        # Twice as wide from the day after W1's visit on: what was over on its day stays over.
        "tolerances": "line,axis,from_on,limit_um\n"
        + "".join(f"{line},{axis},2019-01-01,100\n" for line in LINES for axis in "vh")
        + "W1,v,2026-06-13,200\n",
        "outages": "outage,site,kind,starts_at,ends_at,crew_hours,crews,state\n"
        "WE-JUN,WE,stop,2026-06-10T06:00,2026-06-15T18:00,100,2,done\n"
        "WE-AUG,WE,stop,2026-08-10T06:00,2026-08-12T18:00,100,2,done\n"
        "EA-JUN,EA,stop,2026-06-10T06:00,2026-06-12T18:00,100,2,done\n"
        "WE-DEC,WE,stop,2026-12-10T06:00,2026-12-12T18:00,100,2,planned\n",
        **{name: "\n".join(rows) + "\n" for name, rows in tables.items()},
    }


CHOSEN = {"W1": "WE-JUN", "W2": "WE-JUN", "W3": "WE-JUN", "W4": "WE-JUN", "W7": "WE-DEC", "E1": "EA-JUN"}
STATED = {
    ("W1", "WE-JUN"): 0.4, ("W1", "WE-AUG"): 0.9, ("W2", "WE-JUN"): 0.3, ("W3", "WE-JUN"): 0.2, ("W3", "WE-AUG"): 0.6,
    ("W5", "WE-JUN"): 0.7, ("W6", "WE-JUN"): 0.8, ("E1", "EA-JUN"): 0.5,
}  # fmt: skip


def kept(
    store: Store,
    code: str,
    *,
    at: datetime = MADE,
    signed: datetime | None = None,
    chosen: Mapping[str, str] = CHOSEN,
    stated: Mapping[tuple[str, str], float] = STATED,
) -> str:
    """Keep a plan as of a moment whose visits and chances are set by hand."""
    plan = plan_content(store, Asked(), now=at)

    def by_hand(row: PlanRow) -> PlanRow:
        choices = tuple(
            replace(choice, chance_before=stated.get((row.line, stop.code)))
            for stop, choice in zip(plan.stops, row.choices, strict=True)
        )
        return replace(row, choices=choices, chosen=chosen.get(row.line), reason="saves_days")

    content: PlanContent = replace(plan, rows=tuple(by_hand(row) for row in plan.rows))
    with store.write() as transaction:
        keep_plan(transaction, rows_of_content(content), code=code, over=None, who="J. Quillam", at=at, note=None)
    if signed is not None:
        with store.write() as transaction:
            sign_plan(transaction, code, version=1, who="J. Quillam", at=signed)
    return code


def of(looked: Became, line: str) -> BecameLine:
    return next(each for each in looked.lines if each.line == line)


@pytest.fixture
def shown(store_of: Callable[..., Store]) -> Became:
    store = store_of(source())
    return became(store, kept(store, "MAY"), now=NOW)


def test_every_line_is_told_what_became_of_it(shown: Became) -> None:
    assert {line.line: (line.deed, line.planned, line.done) for line in shown.lines} == {
        "W1": ("as_planned", "WE-JUN", "WE-JUN"),
        "W2": ("as_planned", "WE-JUN", "WE-JUN"),
        "W3": ("other_outage", "WE-JUN", "WE-AUG"),
        "W4": ("missed", "WE-JUN", None),
        "W5": ("extra", None, None),
        "W6": ("left_as_planned", None, None),
        "W7": (None, "WE-DEC", None),
        "E1": ("as_planned", "EA-JUN", "EA-JUN"),
    }
    assert (shown.plan, shown.state, shown.as_of, shown.to_come) == ("MAY", "saved", date(2026, 5, 1), 1)
    assert shown.count("as_planned") == 3


def test_a_late_evening_visit_stays_on_its_day_west_of_utc(shown: Became) -> None:
    found = of(shown, "W1").found
    assert found is not None
    assert (of(shown, "W1").on, found.on) == (date(2026, 6, 12), date(2026, 6, 12))
    # 12 June is before the wider limit began (13 June): 0.15 mm below target is over 0.10 mm.
    assert (found.deviation_um, found.limit_um, found.over) == (pytest.approx(-150.0), 100.0, True)
    assert of(shown, "W6").session is None  # 1 May, 22:30 at the site, is the plan's own day


def test_the_limit_itself_is_within_and_no_as_found_is_no_look(shown: Became) -> None:
    at_the_limit = of(shown, "W2").found
    assert at_the_limit is not None
    assert (at_the_limit.deviation_um, at_the_limit.over) == (pytest.approx(100.0), False)
    assert of(shown, "E1").found is None
    assert of(shown, "W5").stated is None


def test_hours_planned_stand_beside_those_written_down(shown: Became) -> None:
    by_code = {stop.code: stop for stop in shown.stops}
    assert list(by_code) == ["EA-JUN", "WE-JUN", "WE-AUG"]
    june = by_code["WE-JUN"]
    assert (june.planned, june.made, june.missed, june.extra) == (4, 2, 2, 0)
    assert (june.hours_planned, june.hours_done, june.hours_written) == (40.0, 12.0, 1)
    august = by_code["WE-AUG"]
    assert (august.planned, august.extra, august.hours_planned, august.hours_done) == (0, 1, 0.0, 7.5)
    assert (by_code["EA-JUN"].hours_planned, by_code["EA-JUN"].hours_done) == (8.0, 6.0)


def test_the_score_is_briers_worked_out_by_hand_and_the_tail_scipys(shown: Became) -> None:
    """Looked at: W1 stated 0.4, over; W2 0.3, within; W3 0.6 (for the stop it was looked at in), over.

    Brier (1950), Monthly Weather Review 78, 1-3, for one of two outcomes: the mean of (0.4 - 1)^2, (0.3 - 0)^2 and
    (0.6 - 1)^2 is 0.61 / 3. Stating 2/3 for all: 2/3 x 1/3. The number over is Poisson-binomial: three over 0.072, two
    0.324 by adding the products, so two or more 0.396, and twice that.
    """
    score = shown.score
    assert [(look.line, look.stop, look.stated, look.found.over) for look in score.lines] == [
        ("W3", "WE-AUG", 0.6, True), ("W1", "WE-JUN", 0.4, True), ("W2", "WE-JUN", 0.3, False),
    ]  # fmt: skip
    assert (score.expected, score.found) == (pytest.approx(1.3), 2)
    assert score.brier == pytest.approx(0.61 / 3.0)
    assert score.brier_of_rate == pytest.approx(2.0 / 9.0)
    assert score.surprise == pytest.approx(0.792)
    if hasattr(stats, "poisson_binom"):  # from SciPy 1.15 on
        law = stats.poisson_binom([0.4, 0.3, 0.6])
        assert score.surprise == pytest.approx(2.0 * min(law.cdf(2), law.sf(1)))
    assert [(band.low, band.high, band.looked_at, band.expected, band.found) for band in score.bands] == [
        (0.0, 0.05, 0, 0.0, 0), (0.05, 0.2, 0, 0.0, 0), (0.2, 0.5, 2, pytest.approx(0.7), 1),
        (0.5, 1.0, 1, pytest.approx(0.6), 1),
    ]  # fmt: skip
    assert score.not_judged == 1  # W5 was looked at outside any stop


def test_equal_chances_are_binomial_beside_scipy(store_of: Callable[..., Store]) -> None:
    store = store_of(source())
    even = dict.fromkeys([("W1", "WE-JUN"), ("W2", "WE-JUN"), ("W3", "WE-AUG")], 0.1)
    score = became(store, kept(store, "EVEN", stated=even), now=NOW).score
    law = stats.binom(3, 0.1)
    assert score.surprise == pytest.approx(2.0 * min(law.cdf(2), law.sf(1)))
    assert score.brier == pytest.approx(float(np.mean([0.9**2, 0.1**2, 0.9**2])))


def test_what_is_over_is_what_the_lines_own_page_says(store_of: Callable[..., Store], shown: Became) -> None:
    store = store_of(source())
    for line in ("W1", "W2", "W3"):
        page = line_view(store, line, station="S1", axis="v", now=NOW)
        assert page.history is not None
        told = next(point for point in page.history.points if point.at.year == 2026 and point.phase == "as_found")
        found = of(shown, line).found
        assert found is not None
        assert (told.verdict == "over", told.deviation_um) == (found.over, pytest.approx(found.deviation_um))


def test_a_visit_counts_once_by_the_newest_plan_signed_before_its_outage_began(
    store_of: Callable[..., Store],
) -> None:
    store = store_of(source())
    june = datetime(2026, 6, 5, 12, 0, tzinfo=UTC)
    begun = datetime(2026, 6, 11, 12, 0, tzinfo=UTC)
    kept(store, "FIRST", signed=MADE)
    second = {("W1", "WE-JUN"): 0.5, ("W3", "WE-AUG"): 0.1}
    kept(store, "SECOND", at=june, signed=june, stated=second)
    kept(store, "TOO-LATE", at=june, signed=begun, stated={("W1", "WE-JUN"): 0.99, ("W3", "WE-AUG"): 0.25})
    kept(store, "NEVER-SIGNED", at=june, stated={("W1", "WE-JUN"): 0.01, ("W3", "WE-AUG"): 0.01})
    score = own_score(store, now=NOW)
    # W3 was looked at in August: the plan that was signed while the June stop ran had still been in time for that.
    assert {look.line: (look.plan, look.stated) for look in score.lines} == {
        "W1": ("SECOND", 0.5), "W2": ("FIRST", 0.3), "W3": ("TOO-LATE", 0.25),
    }  # fmt: skip
    assert score.plans == ("FIRST", "SECOND", "TOO-LATE")
    assert own_score(store, "EA", now=NOW).looked_at == 0
    assert own_score(store, "WE", now=NOW) == score


def test_a_plan_whose_line_was_looked_at_since_says_nothing_of_the_next_visit(
    store_of: Callable[..., Store],
) -> None:
    """W3 by a plan of 1 May: had it been looked at in June too, the chance for August would not be of that visit."""
    files = source()
    files["sessions"] += "W3-June,W3,2026-06-12T08:00,WE-JUN\n"
    files["surveys"] += "W3-June,1,as_found,20,20,torqued\n"
    files["offsets"] += "W3-June,1,S1,0.05,0,mm\nW3-June,1,S2,0.01,0,mm\n"
    store = store_of(files)
    looked = became(store, kept(store, "MAY"), now=NOW)
    assert [(look.line, look.stop, look.stated) for look in looked.score.lines if look.line == "W3"] == [
        ("W3", "WE-JUN", 0.2)
    ]
    assert of(looked, "W3").deed == "as_planned"


def test_nothing_is_told_before_a_stop_is_past(store_of: Callable[..., Store]) -> None:
    store = store_of(source())
    code = kept(store, "MAY", signed=MADE)
    before = became(store, code, now=MADE + timedelta(days=3))
    assert (before.stops, before.to_come, before.score.looked_at) == ((), 4, 0)
    assert {line.deed for line in before.lines} == {None, "left_as_planned"}
    nothing = ScoreContent(
        plans=(), expected=0.0, found=0, surprise=None, brier=None, brier_of_rate=None, bands=before.score.bands,
        lines=(), not_judged=0,
    )  # fmt: skip
    assert own_score(store, now=MADE + timedelta(days=3)) == nothing
    assert own_score(store_of(), now=NOW) == nothing


def test_a_plan_of_a_past_day_knows_nothing_of_what_came_after(store_of: Callable[..., Store]) -> None:
    """Visits and crew hours of later days change nothing of a plan made as of an earlier one, to the end of its day."""
    own_day = [visit for visit in VISITS if visit[1].startswith("2026-05-01")]
    later, never = store_of(source()), store_of(source(own_day))
    then, also = (plan_content(store, Asked(), now=MADE) for store in (later, never))
    assert any(row.chance_before is not None for row in then.rows)
    assert then.rows == also.rows
    assert then.stops == also.stops


def test_an_example_is_kept_a_year_ago_and_looked_back_on(store_of: Callable[..., Store]) -> None:
    store = store_of(source())
    code = keep_example(store, now=MADE + timedelta(days=365))
    looked = became(store, code, now=NOW)
    assert (looked.plan, looked.state, looked.as_of) == ("PLAN-2026-05-01", "signed_off", date(2026, 5, 1))
    assert {stop.code for stop in looked.stops} == {"EA-JUN", "WE-JUN", "WE-AUG"}
    assert looked.score.looked_at > 0
    assert own_score(store, now=NOW).plans == (code,)


def test_the_score_of_today_is_kept_and_follows_plans_and_facts(store_of: Callable[..., Store], tmp_path: Path) -> None:
    """By the clock: a stop a hundred days ago, looked at on its first day; a correction then replaces that visit."""
    day = (datetime.now(UTC) - timedelta(days=100)).date()
    before = datetime.combine(day - timedelta(days=9), datetime.min.time(), UTC)
    files = {
        "sites": "site,name,time_zone\nWE,West works,America/Los_Angeles\n",
        "lines": "line,site\nW1,WE\n",
        "stations": "line,station,distance_mm\nW1,S1,1500\n",
        "tolerances": "line,axis,limit_um\nW1,v,100\nW1,h,100\n",
        "outages": f"outage,site,starts_at,ends_at,state\nS,WE,{day}T06:00,{day}T20:00,done\n",
        "sessions": f"session,line,started_at,outage\nV,W1,{day}T08:00,S\n",
        "surveys": "session,survey,phase,barrel_c,gearbox_c\nV,1,as_found,20,20\n",
        "offsets": "session,survey,station,v,h,unit\nV,1,S1,0.15,0,mm\n",
    }
    store = store_of(files)
    assert own_score(store).looked_at == 0
    for code, chance in (("ONE", 0.25), ("TWO", 0.5)):
        kept(store, code, at=before, signed=before, chosen={"W1": "S"}, stated={("W1", "S"): chance})
        for _ in range(2):
            score = own_score(store)
            assert (score.plans, score.expected, score.found) == ((code,), chance, 1)
    for table, row in (
        ("sessions", f"session,line,started_at,outage,corrects,correction_reason\nVC,W1,{day}T08:00,S,V,sign\n"),
        ("surveys", "session,survey,phase,barrel_c,gearbox_c\nVC,1,as_found,20,20\n"),
        ("offsets", "session,survey,station,v,h,unit\nVC,1,S1,0.015,0,mm\n"),
    ):
        files[table] = row
    import_folder(store, write_source(tmp_path / "correction", files), who="ann")
    assert (own_score(store).found, own_score(store).looked_at) == (0, 1)


def test_an_unknown_plan_is_said_to_be_unknown(store_of: Callable[..., Store]) -> None:
    with pytest.raises(NotFoundError) as told:
        became(store_of(source()), "NONE", now=NOW)
    assert str(told.value) == "There is no plan 'NONE' in the store; the Outages page lists the plans that were kept."
