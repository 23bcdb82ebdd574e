"""A change of drift nobody recorded, planted in a mill and brought in by its files: proposed, accepted, refused."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
from record_sources import MILLS, NOW, keep_rows, rows_of
from sqlalchemy import select

from fleet.errors import InputError, NotFoundError
from fleet.services.exporting import export_records
from fleet.services.forecasting import forecast_rows
from fleet.services.importing import import_folder
from fleet.services.line_page import line_view
from fleet.services.line_regime import decide
from fleet.services.regime_words import Rate, likelier, rate_said
from fleet.services.regimes import accept, decisions, proposals, refuse
from fleet.services.series import load_series
from fleet.store import AuditEntry, Event, Proposal
from fleet.store.engine import Store, open_store

LINE, CHANGED_AT = "B22", "B22-05"
HANDLE = "B22:v:B22-05"
EXTRA_UM_PER_YEAR = -120.0
"""What is added to the vertical rate at the farthest station from the fifth visit on."""

StoreOf = Callable[..., Store]


def planted(folder: Path, extra: Mapping[str, float] = MappingProxyType({})) -> Path:
    """Copy mill-b, its line B22 going lower by 120 um a year more from its fifth visit on, less nearer the gearbox.

    `extra` says how much instead for the interval before a visit.

    Every later visit of the line found it there and set it again, so the extra movement is that of one interval each.
    """
    shutil.copytree(MILLS / "mill-b", folder)
    at = {row["session"]: datetime.fromisoformat(row["started_at"]) for row in rows_of("mill-b", "sessions")}
    codes = sorted(code for code in at if code.startswith(f"{LINE}-"))
    years = {code: (at[code] - at[before]) / timedelta(days=365.25) for before, code in pairwise(codes)}
    found = {(row["session"], row["survey"]) for row in rows_of("mill-b", "surveys") if row["phase"] == "as_found"}
    distance = {
        row["station"]: float(row["distance_mm"]) for row in rows_of("mill-b", "stations") if row["line"] == LINE
    }
    rows = rows_of("mill-b", "offsets")
    for row in rows:
        if row["session"] in codes and row["session"] > CHANGED_AT and (row["session"], row["survey"]) in found:
            assert row["unit"] == "um"
            share = distance[row["station"]] / max(distance.values())
            rate = extra.get(row["session"], EXTRA_UM_PER_YEAR)
            row["v"] = f"{float(row['v']) + rate * share * years[row['session']]:.1f}"
    with (folder / "offsets.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return folder


@pytest.fixture(scope="module")
def changed_file(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record that holds the mill with the planted change; to be copied, never written to."""
    folder = tmp_path_factory.mktemp("planted")
    path = folder / "record.sqlite"
    shutil.copyfile(sqlite_template, path)
    store = open_store(f"sqlite:///{path}")
    import_folder(store, planted(folder / "source"), who="tester", now=NOW)
    store.close()
    return path


@pytest.fixture
def changed(changed_file: Path, tmp_path: Path) -> Iterator[Store]:
    path = tmp_path / "changed.sqlite"
    shutil.copyfile(changed_file, path)
    store = open_store(f"sqlite:///{path}")
    yield store
    store.close()


def rate_um_per_year(store: Store) -> float:
    rows = forecast_rows(store, line=LINE, as_of=NOW.date())
    return next(row.rate_um_per_year for row in reversed(rows) if row.axis == "v")


def test_accepting_on_the_lines_page_shows_the_event_there_and_marks_the_name_in_the_audit(changed: Store) -> None:
    (offered,) = line_view(changed, LINE, now=NOW).proposals
    assert offered.handle == HANDLE
    said = decide(changed, LINE, HANDLE, "accept", by="M. Adeyrin", why="base plate grouted anew", now=NOW)
    assert said.startswith("Accepted: the event 'drift changed' of B22 on ")
    view = line_view(changed, LINE, axis="v", now=NOW)
    assert view.proposals == ()
    assert view.history is not None
    assert ("drift changed", "base plate grouted anew", True) in [
        (event.kind, event.note, event.resets_trend) for event in view.history.events
    ]
    with changed.read() as record:
        whos = record.scalars(select(AuditEntry.who).order_by(AuditEntry.id)).all()
        (proposal,) = record.scalars(select(Proposal)).all()
    assert whos[-1] == "M. Adeyrin (not verified)"
    assert proposal.decided_by == "M. Adeyrin (not verified)"


def test_a_planted_change_is_proposed_with_its_visit_and_rates_and_nothing_is_applied(
    changed: Store, mills: Store
) -> None:
    (row,) = proposals(changed, line=LINE, now=NOW)
    assert (row.handle, row.from_session, row.axis, row.decision) == (HANDLE, CHANGED_AT, "v", None)
    assert row.from_on == next(
        date.fromisoformat(visit["started_at"][:10])
        for visit in rows_of("mill-b", "sessions")
        if visit["session"] == CHANGED_AT
    )
    assert (row.intervals_before, row.intervals_after, row.rate_unit) == (4, 5, "um_per_year")
    assert row.before is not None
    assert row.after is not None
    # The ranges are 95 %: the difference of the rates holds what was planted within twice their half-widths together.
    distance = {s["station"]: float(s["distance_mm"]) for s in rows_of("mill-b", "stations") if s["line"] == LINE}
    assert row.station is not None
    planted_um = EXTRA_UM_PER_YEAR * distance[row.station] / max(distance.values())
    reach = (row.before.high - row.before.low + row.after.high - row.after.low) / 2.0
    assert row.after.value - row.before.value == pytest.approx(planted_um, abs=reach)
    assert row.before.low < row.before.value < row.before.high
    assert row.text.startswith("From ")
    assert f"B22 {row.station} goes lower by " in row.text
    assert "4 intervals before, 5 after" in row.text
    # As in the mill it was made from: nothing of this line was proposed there, and no event stands here.
    assert proposals(mills, line=LINE, now=NOW) == []
    with changed.read() as record:
        assert record.scalars(select(Event).where(Event.kind == "drift changed")).all() == []
        assert record.scalars(select(Proposal)).all() == []


def test_accepting_begins_the_trend_anew_and_the_forecast_follows(changed: Store, tmp_path: Path) -> None:
    (row,) = proposals(changed, line=LINE, now=NOW)
    assert row.after is not None
    before = rate_um_per_year(changed)
    told = accept(changed, HANDLE, "kim", "rear support grouted anew", now=NOW)
    assert told.startswith("Accepted: the event 'drift changed' of B22 on ")
    assert "with the 5 intervals since" in told
    after = rate_um_per_year(changed)
    # The forecast's rate is that of the intervals since, drawn a little to the fleet's.
    assert after < before - 20.0
    assert abs(after - row.after.value) < abs(before - row.after.value)
    assert proposals(changed, line=LINE, now=NOW) == []
    # The interval that ended at that visit still ends there, the next begins there: none lies across the event.
    with changed.read() as record:
        fleet = load_series(record, now=NOW)
    own = np.isin(fleet.intervals.series, fleet.rows_of(fleet.plant.line(LINE).id))
    assert not np.any(fleet.intervals.across_event[own])
    assert np.bincount(fleet.intervals.regime[own]).tolist() == [4 * 8, 5 * 8]
    (made,) = decisions(changed, now=NOW)
    assert (made.handle, made.decision, made.decided_by, made.why) == (
        HANDLE,
        "accepted",
        "kim",
        "rear support grouted anew",
    )
    assert made.text == row.text

    export_records(changed, tmp_path / "out")
    with (tmp_path / "out" / "events.csv").open(encoding="utf-8", newline="") as file:
        (event,) = [line for line in csv.DictReader(file) if line["kind"] == "drift changed"]
    assert (event["line"], event["note"], event["resets_trend"]) == (LINE, "rear support grouted anew", "yes")
    started = next(v["started_at"] for v in rows_of("mill-b", "sessions") if v["session"] == CHANGED_AT)
    assert event["happened_at"].startswith(started[:10])


def test_an_accepted_change_goes_out_and_comes_back_in_byte_for_byte(
    changed: Store, store_of: StoreOf, tmp_path: Path
) -> None:
    accept(changed, HANDLE, "kim", '=grouted, "again" \N{MAN}\u200d\N{WRENCH} \u05d0', now=NOW)
    export_records(changed, tmp_path / "once")
    again = store_of(tmp_path / "once")
    export_records(again, tmp_path / "twice")
    files = sorted(path.name for path in (tmp_path / "once").iterdir())
    assert "events.csv" in files
    for name in files:
        assert (tmp_path / "twice" / name).read_bytes() == (tmp_path / "once" / name).read_bytes()
    assert proposals(again, line=LINE, now=NOW) == []
    assert rate_um_per_year(again) == pytest.approx(rate_um_per_year(changed))


def test_a_refused_change_is_not_proposed_again_and_changes_no_figure(changed: Store) -> None:
    before = rate_um_per_year(changed)
    told = refuse(changed, HANDLE, "kim", "the survey of 2023 was doubtful", now=NOW)
    assert told == (
        "Refused: B22:v:B22-05 is not proposed again unless later visits make it three times likelier than now. "
        "Nothing else was changed."
    )
    assert proposals(changed, line=LINE, now=NOW) == []
    assert rate_um_per_year(changed) == before
    with changed.read() as record:
        assert record.scalars(select(Event).where(Event.kind == "drift changed")).all() == []
        entry = record.scalars(select(AuditEntry).order_by(AuditEntry.id.desc())).first()
    assert entry is not None
    assert (entry.who, entry.what) == ("kim", "refused the change of drift B22:v:B22-05")
    assert json.loads(entry.after or "")["why"] == "the survey of 2023 was doubtful"


@pytest.mark.parametrize("late_rate", [EXTRA_UM_PER_YEAR, -180.0])
def test_a_refused_change_is_proposed_again_only_once_later_visits_clearly_add_to_it(
    store_of: StoreOf, tmp_path: Path, late_rate: float
) -> None:
    late = {f"{LINE}-09": late_rate, f"{LINE}-10": late_rate}
    whole = planted(tmp_path / "whole", late)
    store = store_of(keep_rows(whole, tmp_path / "early", lambda _, row: row.get("session") not in late))
    (first,) = proposals(store, line=LINE, now=NOW)
    refuse(store, first.handle, "kim", "wait for another visit", now=NOW)
    import_folder(store, whole, who="tester", now=NOW)
    again = proposals(store, line=LINE, now=NOW)
    if late_rate == EXTRA_UM_PER_YEAR:
        # More of the same tells nothing new.
        assert again == []
        return
    # Three times the odds (log 3 is 1.099), and the earlier refusal is told with it.
    assert again[0].evidence > first.evidence + 1.098
    assert (again[0].decision, again[0].decided_by, again[0].why) == ("refused", "kim", "wait for another visit")


def test_what_cannot_be_decided_is_said_in_a_sentence(changed: Store) -> None:
    with pytest.raises(NotFoundError) as unknown:
        accept(changed, "B22:h:nonsense", "kim", "because", now=NOW)
    assert str(unknown.value) == ("There is no proposal 'B22:h:nonsense'; `asleft regime list` names those there are.")
    with pytest.raises(InputError) as empty:
        refuse(changed, HANDLE, "kim", "  ", now=NOW)
    assert str(empty.value) == "A decision needs its reason for those who come after; say it with --why TEXT."
    for unwritable in ("broken \udc80 byte", "two\nlines"):
        with pytest.raises(InputError, match="a line break or a character that cannot be written"):
            refuse(changed, HANDLE, "kim", unwritable, now=NOW)
    with pytest.raises(InputError, match="The reason has 2001 characters; say it in 2000 or fewer"):
        refuse(changed, HANDLE, "kim", "x" * 2001, now=NOW)
    with pytest.raises(NotFoundError, match="There is no line 'B99' in the store"):
        proposals(changed, line="B99", now=NOW)
    assert decisions(changed, now=NOW) == []
    accept(changed, HANDLE, "kim", "grouted", now=NOW)
    with pytest.raises(InputError) as twice:
        refuse(changed, HANDLE, "ada", "no", now=NOW)
    assert str(twice.value) == ("B22:v:B22-05 was accepted on 1\u00a0Nov\u00a02026 by kim (grouted) and stays so.")
    assert len(decisions(changed, now=NOW)) == 1


def test_a_withdrawn_event_opens_the_question_again(changed: Store) -> None:
    from fleet.store.versions import raise_data_version

    accept(changed, HANDLE, "kim", "grouted", now=NOW)
    with changed.write() as record:
        event = record.scalars(select(Event).where(Event.kind == "drift changed")).one()
        event.withdrawn_at, event.withdrawn_by, event.withdrawn_why = datetime(2026, 11, 2, tzinfo=UTC), "kim", "B23"
        raise_data_version(record)
    assert [row.handle for row in proposals(changed, line=LINE, now=NOW)] == [HANDLE]


def test_no_more_than_one_line_in_a_hundred_of_the_mills_is_proposed(mills: Store) -> None:
    # 72 lines made without a planted change; two where one in a hundred is promised has 16 % (binomial law).
    assert len({row.line for row in proposals(mills, now=NOW)}) <= 2


def test_rates_are_said_with_their_direction_and_range() -> None:
    assert rate_said(Rate(-95.2, -110.4, -80.0), "v") == "lower by 95 (80 to 110)"
    assert rate_said(Rate(31.0, 22.0, 40.0), "h") == "to the right by 31 (22 to 40)"
    assert rate_said(Rate(-10.0, -30.0, 10.0), "h") == "to the left by 10 (10 to the right to 30 to the left)"
    assert likelier(2.9) == "about 18 times likelier"
    assert likelier(7.0) == "about 1100 times likelier"
    assert likelier(40.0) == "more than a million times likelier"
