"""Who changed what, in the time of the site; what was corrected; what one line's export holds. Expected by hand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from zipfile import ZipFile

import pytest
from record_sources import NOW
from two_shores import LATE, laid

from fleet.errors import InputError, NotFoundError
from fleet.services.exporting import export_file
from fleet.services.importing import import_folder
from fleet.services.records_page import RecordsChoice, all_changes, records_view
from fleet.services.records_page_corrections import Became
from fleet.store import audit
from fleet.store.drafts import Typing, create_draft
from fleet.store.engine import Store
from fleet.store.queries import proof


@pytest.fixture
def store(shores: Callable[[], Store]) -> Store:
    """A record taken in late on 1 Nov UTC."""
    return shores()


@pytest.mark.parametrize(
    ("line", "day", "found"),
    [("E1", 1, False), ("E1", 2, True), ("W1", 1, True), ("W1", 2, False), (None, 1, True), (None, 2, False)],
)
def test_a_day_is_a_day_of_the_site_east_and_west_of_utc(store: Store, line: str | None, day: int, found: bool) -> None:
    on = date(2026, 11, day)
    view = records_view(store, RecordsChoice(line=line, from_on=on, to_on=on))
    assert (view.change_total, view.source_total) == ((1, 1) if found else (0, 0))


def test_moments_are_shown_in_the_time_of_the_line_that_is_looked_at(store: Store) -> None:
    east = records_view(store, RecordsChoice(line="E1"))
    assert (east.zone, east.zone_of) == ("Asia/Tokyo", "East works")
    assert east.changes[0].at.isoformat() == "2026-11-02T08:30:00+09:00"
    both = records_view(store)
    assert (both.zone, both.zone_of) == ("UTC", None)
    assert both.changes[0].at == LATE


def test_changes_are_chosen_by_person_and_kind_and_come_in_pages_of_fifty(store: Store) -> None:
    with store.write() as session:
        for number in range(60):
            audit.record(session, at=LATE + timedelta(minutes=number), who="bob", what=f"changed lines line {number}")
    first = records_view(store, RecordsChoice(show="changes", who="bob"))
    assert (first.change_total, first.total, len(first.changes)) == (60, 60, 50)
    assert first.changes[0].what == "changed lines line 59"
    second = records_view(store, RecordsChoice(show="changes", who="bob", page=2))
    assert [row.what for row in second.changes][-1] == "changed lines line 0"
    assert records_view(store, RecordsChoice(show="changes", what="sources")).change_total == 1
    assert records_view(store, RecordsChoice(show="changes", what="plant")).change_total == 60
    every, zone = all_changes(store, RecordsChoice(show="changes", page=2))
    assert (len(every), zone) == (61, "UTC")
    assert records_view(store).people == ("ann", "bob")


def test_a_line_or_a_source_that_is_not_there_is_said(store: Store) -> None:
    view = records_view(store, RecordsChoice(line="N9", source=77))
    assert view.notes == (
        "The store holds no line ‘N9’; what names it is shown all the same.",
        "No source has the number 77; the list of all is shown.",
    )


def test_a_correction_says_what_became_what(store: Store, tmp_path: Path) -> None:
    corrected = {
        "sessions": "session,line,started_at,corrects,correction_reason,remarks\n"
        "V1C,E1,2020-06-01T08:00,V1,sign turned at S1,seen on the sheet\n",
        "surveys": "session,survey,phase,barrel_c,gearbox_c\nV1C,1,as_found,23,20\n",
        "offsets": "session,survey,station,v,h,unit\nV1C,1,S1,0.10,0.02,mm\nV1C,1,S2,-0.120,0.03,mm\n",
        "findings": None,
    }
    import_folder(store, laid(tmp_path / "c", corrected), who="bob", now=LATE + timedelta(days=1))
    view = records_view(store)
    (row,) = view.corrections
    assert (row.line, row.old, row.new, row.why, row.corrected_by) == ("E1", "V1", "V1C", "sign turned at S1", "bob")
    assert (row.withdraws, view.correction_total) == (False, 1)
    # -0.120 is the same as -0.12, so S2 stands as it was; the finding was not repeated, so it is gone.
    assert row.became == (
        Became("offsets", 1, "as_found", "S1", None, "v", "-0.10", "0.10", "mm"),
        Became("surveys", 1, "as_found", None, None, "barrel_c", "21", "23", None),
        Became("findings", None, None, "soft foot", None, None, "soft foot", None, "mm"),
        Became("sessions", None, None, None, None, "remarks", None, "seen on the sheet", None),
    )
    assert records_view(store, RecordsChoice(line="W1")).corrections == ()


def test_a_correction_without_surveys_withdraws_the_visit(store: Store, tmp_path: Path) -> None:
    gone = {
        "sessions": "session,line,started_at,corrects,correction_reason\nV2C,W1,2021-06-01T08:00,V2,another line\n",
        "surveys": None,
        "offsets": None,
        "findings": None,
    }
    import_folder(store, laid(tmp_path / "c", gone), who="bob", now=LATE + timedelta(days=1))
    (row,) = records_view(store).corrections
    assert (row.withdraws, row.became) == (True, ())


def test_visits_that_are_not_signed_are_told_with_their_author_and_age(store: Store) -> None:
    with store.write() as session:
        line = next(row.code for row in proof.line_zones(session))
        from sqlalchemy import select

        from fleet.store import Line

        number = session.scalars(select(Line.id).where(Line.code == line)).one()
        create_draft(
            session, client_key="5f1c", line_id=number, line=line, corrects_id=None, who="cleo (not verified)",
            at=LATE, device="phone", entries=[Typing("unit", "mm", LATE, 0)],
        )  # fmt: skip
    (draft,) = records_view(store).drafts
    assert (draft.line, draft.by, draft.entries, draft.key) == ("E1", "cleo (not verified)", 1, "5f1c")
    assert draft.begun_at.isoformat() == "2026-11-02T08:30:00+09:00"
    assert records_view(store, RecordsChoice(line="W1")).drafts == ()


def test_one_lines_export_holds_its_record_alone_and_can_be_taken_in(
    store: Store, store_of: Callable[..., Store], tmp_path: Path
) -> None:
    folder = tmp_path / "out"
    folder.mkdir()
    packed = export_file(store, folder, "zip", line="E1")
    with ZipFile(packed) as file:
        texts = {name: file.read(name).decode() for name in file.namelist()}
    assert texts["lines.csv"].splitlines()[1:] == ["E1,EA,,90,,,,,,,,,,,,"]
    assert texts["sites.csv"].splitlines()[1:] == ["EA,East works,Asia/Tokyo"]
    assert "W1" not in "".join(texts.values())
    assert len(texts["offsets.csv"].splitlines()) == 3
    other = store_of({name.removesuffix(".csv"): text for name, text in texts.items()})
    again = tmp_path / "again"
    again.mkdir()
    with ZipFile(export_file(other, again, "zip")) as file:
        assert {name: file.read(name).decode() for name in file.namelist()} == texts
    with pytest.raises(NotFoundError, match="no line 'N9'"):
        export_file(store, tmp_path, "xlsx", line="N9")
    with pytest.raises(InputError, match="not written as 'pdf'"):
        export_file(store, tmp_path, "pdf")


def test_an_empty_record_shows_nothing_and_says_so_in_counts(store_of: Callable[..., Store]) -> None:
    view = records_view(store_of(), now=NOW)
    assert (view.lines_in_store, view.entries, view.sources, view.changes, view.waiting) == (0, 0, (), (), ())
