"""A fact is taken back and recorded anew; nothing is lost. The rules are those of the project's records page."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from record_sources import NOW
from two_shores import laid

from fleet.errors import InputError
from fleet.services.exporting import export_records
from fleet.services.importing import import_folder
from fleet.services.records_page import RecordsChoice, RecordsView, records_view
from fleet.services.withdrawing import KINDS, bring_back, take_back
from fleet.store.engine import Store

LATER = NOW + timedelta(days=1)


@pytest.fixture
def store(shores: Callable[[], Store]) -> Store:
    """A record with one fact of each kind."""
    return shores()


def shown(store: Store, kind: str) -> RecordsView:
    return records_view(store, RecordsChoice(show=kind))


def exported(store: Store, folder: Path) -> dict[str, bytes]:
    export_records(store, folder)
    return {file.name: file.read_bytes() for file in sorted(folder.iterdir())}


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "findings"])
def test_what_is_withdrawn_leaves_the_export_and_recorded_anew_it_is_there_byte_for_byte(
    store: Store, kind: str, tmp_path: Path
) -> None:
    before = exported(store, tmp_path / "before")
    row = shown(store, kind).facts[-1]
    take_back(store, kind, row.number, name="ann", why="wrong line", now=LATER)
    assert exported(store, tmp_path / "without") != before
    gone = shown(store, kind).facts[-1]
    assert (gone.withdrawn_by, gone.withdrawn_why) == ("ann (not verified)", "wrong line")
    assert gone.withdrawn_at == LATER
    bring_back(store, kind, row.number, name="bob", why="it was right", now=LATER)
    assert exported(store, tmp_path / "after") == before
    assert [each.withdrawn_at is None for each in shown(store, kind).facts].count(False) == 1


def test_both_steps_stand_in_the_audit_with_who_what_before_and_after(store: Store) -> None:
    (row,) = shown(store, "events").facts
    take_back(store, "events", row.number, name="ann", why="no truck", now=LATER)
    bring_back(store, "events", row.number, name="bob", why="there was one", now=LATER + timedelta(hours=1))
    anew, gone = records_view(store, RecordsChoice(show="changes", what="withdrawals")).changes
    assert (gone.who, gone.what, gone.after) == ("ann (not verified)", "withdrew an event", {"why": "no truck"})
    # 10:00 in Tokyo, nine hours ahead of UTC and without summer time.
    assert gone.before == {
        "line": "E1", "happened_at": "2020-09-01T01:00:00+00:00", "kind": "struck", "note": "by a truck",
        "resets_trend": False,
    }  # fmt: skip
    assert (anew.who, anew.what) == ("bob (not verified)", "recorded an event anew")
    assert anew.after == {**gone.before, "why": "there was one"}


def test_taking_the_same_source_in_again_says_that_a_withdrawn_fact_stays_so_until_it_is_recorded_anew(
    store: Store, tmp_path: Path
) -> None:
    place = laid(tmp_path / "again" / "shores")
    (row,) = shown(store, "events").facts
    take_back(store, "events", row.number, name="ann", why="no truck", now=LATER)
    (remark,) = import_folder(store, place, who="ann", now=LATER).result.remarks
    assert remark == "events.csv row 2: this fact was withdrawn from the store and stays so"
    bring_back(store, "events", row.number, name="ann", why="there was one", now=LATER)
    result = import_folder(store, place, who="ann", now=LATER).result
    assert (result.nothing_new, result.remarks) == (True, ())


def test_a_name_and_a_reason_are_asked_for_before_anything_changes(store: Store) -> None:
    row = shown(store, "meters").facts[0]
    with pytest.raises(InputError, match=r"^No reason was given; write in a few words why, it is kept for ever\.$"):
        take_back(store, "meters", row.number, name="ann", why="  ")
    with pytest.raises(InputError, match="type your name"):
        take_back(store, "meters", row.number, name=" ", why="wrong")
    with pytest.raises(InputError, match="2001 characters"):
        take_back(store, "meters", row.number, name="ann", why="x" * 2001)
    assert shown(store, "meters").facts[0].withdrawn_at is None


def test_the_panel_says_what_goes_with_a_withdrawal(store: Store) -> None:
    texts = {}
    for kind in KINDS:
        row = shown(store, kind).facts[0]
        view = records_view(store, RecordsChoice(show=kind, fact=f"{kind}-{row.number}"))
        assert view.fact is not None
        assert view.fact.row == row
        texts[kind] = view.fact.along.said()
    assert "the band before it holds again" in texts["tolerances"][0]
    assert texts["events"] == ("It is no longer drawn on the line’s charts.",)
    assert "cannot be put back alone" in texts["findings"][0]
    for wrong in ("meters-999", "meters", "barrels-1", "meters-x"):
        view = records_view(store, RecordsChoice(fact=wrong))
        assert (view.fact, len(view.notes)) == (None, 1)


def test_facts_say_what_they_hold_in_their_sites_time(store: Store) -> None:
    (check,) = shown(store, "running-checks").facts
    assert dict(check.figures) == {"v_rise_um": 260.0, "h_rise_um": -10.0, "u_um": 10.0, "barrel_c": 200.0}
    assert (check.line, check.place, check.at and check.at.isoformat()) == ("E1", "S1", "2020-07-01T10:00:00+09:00")
    (tolerance,) = shown(store, "tolerances").facts
    assert (tolerance.axis, tolerance.measure, dict(tolerance.figures)) == (
        "v", "offset", {"watch_um": 100.0, "limit_um": 200.0},
    )  # fmt: skip
    (wear,) = shown(store, "wear").facts
    assert (wear.place, wear.distance_mm, dict(wear.figures)) == ("B1", 400.0, {"diameter_v_um": 90_050.0})
    (finding,) = shown(store, "findings").facts
    assert (finding.line, finding.place, finding.words, finding.note) == ("E1", "V1", "soft foot", "0.12 mm")
    newest, oldest = shown(store, "meters").facts
    assert [dict(row.figures)["running_hours"] for row in (newest, oldest)] == [26_000.0, 20_388.0]


@pytest.mark.parametrize("kind", KINDS)
def test_lists_of_facts_keep_to_the_line_that_is_asked_for(store: Store, kind: str) -> None:
    assert records_view(store, RecordsChoice(show=kind, line="E1")).fact_total >= 1
    assert records_view(store, RecordsChoice(show=kind, line="W1")).facts == ()


def test_the_audit_is_kept_as_json_that_anybody_can_read(store: Store) -> None:
    row = shown(store, "wear").facts[0]
    take_back(store, "wear", row.number, name="ann", why="wrong barrel", now=LATER)
    (change,) = records_view(store, RecordsChoice(show="changes", what="withdrawals")).changes
    assert json.loads(json.dumps(change.before))["asset"] == "B1"
