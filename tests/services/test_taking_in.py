"""A person brings a source: what would happen, what did, every bad row. The rules are the project's exchange page."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from record_sources import NOW
from sqlalchemy import func, select
from two_shores import BROKEN, laid

from fleet.intake.pages import write_template
from fleet.intake.raw import IntakeError
from fleet.services.importing import import_folder
from fleet.services.records_page import records_view, source_problems
from fleet.services.taking_in import BadRow, Outlook, StoppedError, Tell, bring_in
from fleet.store import Base
from fleet.store.engine import Store

WHO = "ann (not verified)"


def census(store: Store, *without: str) -> dict[str, int]:
    with store.read() as record:
        return {
            table.name: record.execute(select(func.count()).select_from(table)).scalar_one()
            for table in Base.metadata.sorted_tables
            if table.name not in without
        }


def bring(store: Store, place: Path, **how: object) -> Outlook:
    asked = {"name": place.name, "who": WHO, "now": NOW, **how}
    return bring_in(store, place, **asked)  # type: ignore[arg-type]


def test_looking_first_tells_what_would_happen_and_stores_nothing(
    store_of: Callable[..., Store], tmp_path: Path
) -> None:
    store = store_of(laid(tmp_path / "first"))
    before = census(store)
    changed = "line,site,screw_diameter_mm\nE1,EA,120\nW1,WE,90\nE2,EA,60\n"
    told = bring(store, laid(tmp_path / "more", {"lines": changed}), look_only=True)
    assert (told.result, told.taken, told.intake) == ("sound", (("lines", 1),), None)
    (change,) = told.changes
    assert (change.file, change.key, change.column) == ("lines.csv", "line 'E1'", "screw_diameter_mm")
    assert (change.before, change.after) == ("90.0", "120")
    assert census(store) == before


def test_taking_a_source_in_takes_all_of_it_and_the_same_again_is_nothing_new(
    store_of: Callable[..., Store], tmp_path: Path
) -> None:
    store, place = store_of(), laid(tmp_path / "shores")
    taken = bring(store, place)
    assert taken.result == "taken"
    assert dict(taken.taken)["offsets"] == 3
    before = census(store, "intake", "audit")
    again = bring(store, place, now=NOW + timedelta(hours=1))
    assert again.result == "nothing new"
    assert census(store, "intake", "audit") == before
    first, second = records_view(store).sources
    assert (first.result, first.rows_taken, first.again_at) == ("nothing new", 0, NOW)
    # 2 sites, 2 lines, 1 barrel, 1 placement, 3 stations, 2 sessions, 2 surveys, 3 offsets, 2 meters and one each of
    # running check, event, tolerance, wear and finding.
    assert (second.result, second.rows_taken, second.rows_read) == ("taken", 23, 23)
    assert (second.who, second.container, second.files) == (WHO, "folder", 14)


def test_every_bad_row_says_file_row_column_what_was_found_and_what_would_be_right(
    store_of: Callable[..., Store], tmp_path: Path
) -> None:
    store = store_of()
    before = census(store, "intake", "audit")
    told = bring(store, laid(tmp_path / "broken", BROKEN), look_only=True)
    assert told.result == "refused"
    assert told.bad == (
        BadRow(
            "offsets.csv", 4, "unit", "thous", "is not a unit; use um, mm, in or thou",
            {"session": "V2", "survey": "1", "station": "S1", "v": "4", "h": "0", "unit": "thous"},
        ),
        BadRow(
            "offsets.csv", 5, "station", "S9",
            "there is no station 'S9' on line 'W1'; add it to stations or correct the code",
            {"session": "V2", "survey": "1", "station": "S9", "v": "4", "h": "0", "unit": "thou"},
        ),
    )  # fmt: skip
    assert (told.bad_count, told.bad_rows, told.rows_read) == (2, 2, 24)
    assert (told.sound_sessions, told.other_sessions) == (1, 1)
    assert census(store, "intake", "audit") == before


def test_a_refused_source_stands_in_the_list_with_its_bad_rows_until_it_is_put_right(
    store_of: Callable[..., Store], tmp_path: Path
) -> None:
    store = store_of()
    told = bring(store, laid(tmp_path / "shores", BROKEN), look_only=True)
    view = records_view(store, now=NOW)
    assert [row.number for row in view.waiting] == [told.intake]
    assert view.opened is not None
    assert view.opened.bad == told.bad
    assert (view.opened.row.rows_refused, view.opened.row.rows_taken, view.opened.sound_sessions) == (2, 0, 1)
    source, bad, count = source_problems(store, view.opened.row.number)
    assert (source.name, bad, count) == ("shores", told.bad, 2)
    bring(store, laid(tmp_path / "right" / "shores"), now=NOW + timedelta(hours=1))
    assert records_view(store, now=NOW + timedelta(hours=1)).waiting == ()


def test_the_sound_sessions_can_be_taken_without_the_others(store_of: Callable[..., Store], tmp_path: Path) -> None:
    store, place = store_of(), laid(tmp_path / "shores", BROKEN)
    looked = bring(store, place, look_only=True, by_session=True)
    assert (looked.result, looked.left_out, dict(looked.taken)["sessions"]) == ("sound", (("V2", 2),), 1)
    bring(store, place, by_session=True)
    (row,) = records_view(store).sources
    assert (row.result, row.rows_refused) == ("taken", 2)
    assert "V2" in str(records_view(store).changes[0].after)


def test_stopped_at_any_step_the_record_is_as_it_was(store_of: Callable[..., Store], tmp_path: Path) -> None:
    place = laid(tmp_path / "shores")
    steps: list[str] = []
    bring(store_of(), place, tell=lambda what, can_stop: steps.append(what) if can_stop else None)
    assert steps[:2] == ["reading the files", "waiting for the record"]
    assert {"writing offsets", "writing running checks", "keeping it"} < set(steps)
    store = store_of()
    before = census(store)

    def stopping_at(step: str) -> Tell:
        def tell(what: str, can_stop: bool) -> None:
            if can_stop and what == step:
                raise StoppedError("stopped")

        return tell

    for step in steps:
        with pytest.raises(StoppedError):
            bring(store, place, tell=stopping_at(step))
        assert census(store) == before


def test_a_workbook_that_is_none_is_refused_by_its_own_name(store_of: Callable[..., Store], tmp_path: Path) -> None:
    store = store_of()
    hidden = tmp_path / "somewhere" / "source" / "week-47.xlsx"
    hidden.parent.mkdir(parents=True)
    hidden.write_bytes(b"no workbook at all")
    told = bring(store, hidden)
    assert (told.result, told.container, told.bad_rows) == ("refused", "workbook", 0)
    assert [row.file for row in told.bad] == ["week-47.xlsx"]
    assert str(tmp_path) not in str(told)
    # The digest as `printf 'no workbook at all' | sha256sum` gives it.
    assert told.sha256 == "7da5836c0d57cb7f8e191cd9e2e8a9366640929c170e583de087672f3c33f6c5"


def test_an_empty_template_holds_nothing_and_says_so(store_of: Callable[..., Store], tmp_path: Path) -> None:
    store = store_of()
    template = tmp_path / "to-fill-in.xlsx"
    write_template(template)
    assert bring(store, template).result == "nothing new"


def test_the_command_lists_what_it_refuses_and_what_it_only_tries_leaves_no_trace(
    store_of: Callable[..., Store], tmp_path: Path
) -> None:
    store, place = store_of(), laid(tmp_path / "shores", BROKEN)
    before = census(store)
    with pytest.raises(IntakeError, match="'thous' is not a unit"):
        import_folder(store, place, who="ann", dry_run=True, now=NOW)
    assert census(store) == before
    with pytest.raises(IntakeError):
        import_folder(store, place, who="ann", now=NOW)
    assert [(row.result, row.rows_refused) for row in records_view(store).sources] == [("refused", 2)]


def test_more_than_two_hundred_bad_rows_are_counted_and_the_first_kept(
    store_of: Callable[..., Store], tmp_path: Path
) -> None:
    store = store_of()
    rows = "".join(f"E1,2020-06-01T{at // 60:02}:{at % 60:02},-5\n" for at in range(230))
    told = bring(store, laid(tmp_path / "many", {"meters": f"line,read_at,running_hours\n{rows}"}))
    assert (len(told.bad), told.bad_count, told.bad_rows) == (200, 230, 230)
    assert [(row.row, row.found) for row in told.bad[:2]] == [(2, "-5"), (3, "-5")]
    _, kept, count = source_problems(store, told.intake or 0)
    assert (len(kept), count) == (200, 230)
