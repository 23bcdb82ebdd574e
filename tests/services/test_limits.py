"""Limits: dated, judged by the day, set through the same gate as any record; figures worked by hand."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest
from record_sources import NOW, write_source
from sqlalchemy import select

from fleet.errors import InputError, NotFoundError
from fleet.intake import IntakeError
from fleet.services.importing import import_folder
from fleet.services.limits import (
    Band,
    LimitAsked,
    Verdict,
    band_on,
    bands_over_time,
    clearance_at,
    set_limit,
    verdict,
)
from fleet.services.line_page import LineView, line_view
from fleet.store import AuditEntry, Tolerance
from fleet.store.engine import Store, open_store

StoreOf = Callable[..., Store]

RECORD = {
    "lines": "line,screw_diameter_mm\nL1,120\n",
    "stations": "line,station,distance_mm\nL1,S1,1000\nL1,S2,2000\n",
    "sessions": (
        "session,line,started_at\nL1-1,L1,2025-03-10T08:00\nL1-2,L1,2026-03-10T08:00\nL1-3,L1,2026-09-10T08:00\n"
    ),
    "surveys": "session,survey,phase\nL1-1,1,as_found\nL1-2,1,as_found\nL1-3,1,as_found\n",
    "offsets": (
        "session,survey,station,v,h,unit,u_v,u_h\n"
        "L1-1,1,S1,100,0,um,10,10\nL1-1,1,S2,200,0,um,10,10\n"
        "L1-2,1,S1,110,0,um,10,10\nL1-2,1,S2,210,0,um,10,10\n"
        "L1-3,1,S1,120,0,um,10,10\nL1-3,1,S2,220,0,um,10,10\n"
    ),
}
WITH_LIMIT = {
    **RECORD,
    "tolerances": "line,axis,watch_um,limit_um,basis\nL1,v,150,200,plant rule\nL1,h,150,200,plant rule\n",
}
ASKED = LimitAsked(
    station=None, axes=("v", "h"), limit="0.25", watch="", set_within="", unit="mm", from_on="2026-10-01",
    basis="plant rule of 2026", by="M. Adeyrin",
)  # fmt: skip


@pytest.fixture(scope="module")
def refusing(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A store for what is refused: nothing is ever written to it."""
    folder = tmp_path_factory.mktemp("refusing")
    path = folder / "record.sqlite"
    shutil.copyfile(sqlite_template, path)
    store = open_store(f"sqlite:///{path}")
    import_folder(store, write_source(folder / "source", WITH_LIMIT), who="tester", now=NOW)
    yield store
    store.close()


def seen(view: LineView) -> list[tuple[str, float, Verdict]]:
    assert view.history is not None
    return [(point.session, round(point.deviation_um), point.verdict) for point in view.history.points]


@pytest.mark.parametrize(
    ("deviation_um", "expected"),
    [
        (250.0, "past watch"),
        (-250.0, "past watch"),
        (250.0001, "over"),
        (-250.0001, "over"),
        (130.0, "within"),
        (130.0001, "past watch"),
        (0.0, "within"),
    ],
)
def test_over_means_strictly_greater_than_the_limit_and_watch_likewise(deviation_um: float, expected: Verdict) -> None:
    assert verdict(deviation_um, Band(None, 130.0, 250.0)) == expected


def test_without_a_watch_width_half_the_limit_counts_and_without_a_limit_nothing_does() -> None:
    assert verdict(125.0, Band(None, None, 250.0)) == "within"
    assert verdict(125.1, Band(None, None, 250.0)) == "past watch"
    assert verdict(9_999.0, None) == "no limit"


def tolerance(from_on: date | None, limit_um: float, *, station_id: int | None = None, axis: str = "v") -> object:
    return SimpleNamespace(
        station_id=station_id, axis=axis, from_on=from_on, watch_um=None, limit_um=limit_um, set_within_um=None
    )


def test_a_stations_own_limit_beats_its_lines_from_its_day_on_even_if_the_lines_is_newer() -> None:
    rows = [
        tolerance(None, 300.0),
        tolerance(date(2024, 1, 1), 200.0, station_id=7),
        tolerance(date(2025, 1, 1), 250.0),
        tolerance(date(2025, 1, 1), 90.0, station_id=8),
        tolerance(date(2025, 1, 1), 80.0, axis="h"),
    ]
    own = bands_over_time(rows, 7, "v")
    assert own == (Band(None, None, 300.0), Band(date(2024, 1, 1), None, 200.0))
    other = bands_over_time(rows, 9, "v")
    assert other == (Band(None, None, 300.0), Band(date(2025, 1, 1), None, 250.0))
    assert band_on(other, date(2024, 12, 31)) == other[0]
    assert band_on(other, date(2025, 1, 1)) == other[1]
    assert band_on(bands_over_time([tolerance(date(2025, 1, 1), 9.0)], 7, "v"), date(2024, 12, 31)) is None


def test_a_new_screws_clearance_is_a_thousandth_of_its_diameter() -> None:
    # A textbook rule of thumb, from memory: 120 mm give 0.12 mm, half of that is 0.06 mm.
    assert clearance_at(120.0, 1.0) == pytest.approx(120.0)
    assert clearance_at(120.0, 0.5) == pytest.approx(60.0)


def test_a_changed_limit_leaves_old_verdicts_standing_and_begins_on_its_day(store_of: StoreOf) -> None:
    store = store_of(WITH_LIMIT)
    before = line_view(store, "L1", station="S2", axis="v", now=NOW)
    # 200 um is the limit itself and not over it; 210 and 220 are over 200.
    assert seen(before) == [("L1-1", 200.0, "past watch"), ("L1-2", 210.0, "over"), ("L1-3", 220.0, "over")]
    said = set_limit(store, "L1", ASKED, now=NOW)
    assert said.replace("\u00a0", " ") == (
        "The limit of the whole line L1, vertical and horizontal, is 0.250 mm from 1 Oct 2026 on. "
        "Verdicts on earlier visits stand."
    )
    after = line_view(store, "L1", station="S2", axis="v", now=NOW)
    assert seen(after) == seen(before)
    assert after.history is not None
    assert after.history.bands == (Band(None, 150.0, 200.0), Band(date(2026, 10, 1), None, 250.0))
    assert after.history.limit_um == 250.0
    assert after.limits is not None
    assert [(row.from_on, row.axis, row.limit_um, row.standing) for row in after.limits.rows] == [
        (date(2026, 10, 1), "v", 250.0, "in force"),
        (date(2026, 10, 1), "h", 250.0, "in force"),
        (None, "v", 200.0, "followed by another"),
        (None, "h", 200.0, "followed by another"),
    ]


def test_who_set_a_limit_is_in_the_audit_as_not_verified_and_the_same_again_adds_nothing(store_of: StoreOf) -> None:
    store = store_of(WITH_LIMIT)
    set_limit(store, "L1", ASKED, now=NOW)
    again = set_limit(store, "L1", ASKED, now=NOW)
    assert again == "Nothing was changed: L1 has exactly this limit already."
    with store.read() as record:
        whos = [entry.who for entry in record.scalars(select(AuditEntry).order_by(AuditEntry.id))]
        rows = record.scalars(select(Tolerance).where(Tolerance.from_on == date(2026, 10, 1))).all()
    assert whos.count("M. Adeyrin (not verified)") == 1
    assert [(row.axis, row.limit_um, row.watch_um, row.basis) for row in rows] == [
        ("v", 250.0, None, "plant rule of 2026"),
        ("h", 250.0, None, "plant rule of 2026"),
    ]


def test_a_limit_that_would_judge_a_visit_anew_is_refused_and_a_first_one_may_hold_always(store_of: StoreOf) -> None:
    store = store_of(WITH_LIMIT)
    for day in ("2026-09-10", "2020-01-01", ""):
        with pytest.raises(InputError) as refused:
            set_limit(store, "L1", replace(ASKED, from_on=day), now=NOW)
        assert str(refused.value).replace("\u00a0", " ") == (
            "L1 was last visited on 10 Sep 2026 and judged by the limit of that day, which stands; let the new limit "
            "begin on a later day."
        )
    bare = store_of(RECORD)
    without = line_view(bare, "L1", now=NOW)
    assert without.limits is not None
    assert without.limits.missing == (("S1", "v"), ("S1", "h"), ("S2", "v"), ("S2", "h"))
    assert without.limits.clearance_um == pytest.approx(120.0)
    assert (without.status, without.why) == ("no record", "no limit to judge by")
    said = set_limit(bare, "L1", replace(ASKED, from_on="", limit="8", unit="thou"), now=NOW)
    assert "is 8.00\u00a0thou for all its record." in said
    limited = line_view(bare, "L1", station="S2", axis="v", now=NOW)
    # 8 thou are 203.2 um exactly (25.4 um each): 200 is past half of it, 210 and 220 are over.
    assert seen(limited) == [("L1-1", 200.0, "past watch"), ("L1-2", 210.0, "over"), ("L1-3", 220.0, "over")]
    assert limited.limits is not None
    assert limited.limits.missing == ()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"by": " "}, "The record keeps who wrote in it; type your name."),
        ({"limit": ""}, "A limit needs its width; type how far off target is still let pass."),
        ({"limit": "0"}, "A limit of 0 would call every line over; type a width above 0."),
        ({"limit": "-1"}, "The limit ‘-1’ is not a width; write digits with a decimal point, in mm."),
        ({"limit": "1e3"}, "The limit ‘1e3’ is not a width; write digits with a decimal point, in mm."),
        ({"watch": "0.3"}, "The watch width 0.3 is above the limit 0.25; it has to lie within."),
        ({"set_within": "0.26"}, "The width to set within 0.26 is above the limit 0.25; it has to lie within."),
        ({"basis": ""}, "A limit needs to say where it comes from, for those who come after."),
        ({"from_on": "soon"}, "‘soon’ is not a day; write it as 2026-12-01 or 1 Dec 2026."),
        ({"from_on": "31 Feb 2027"}, "‘31 Feb 2027’ is not a day; write it as 2026-12-01 or 1 Dec 2026."),
        ({"axes": ()}, "A limit holds for an axis; choose vertical, horizontal or both."),
        (
            {"station": "S9"},
            "L1 has no station ‘S9’ today; choose one of its stations or the whole line.",
        ),
    ],
)
def test_what_cannot_be_a_limit_is_refused_with_a_sentence(
    refusing: Store, change: dict[str, object], sentence: str
) -> None:
    with pytest.raises(InputError) as refused:
        set_limit(refusing, "L1", replace(ASKED, **change), now=NOW)  # type: ignore[arg-type]
    assert str(refused.value) == sentence


def test_an_unknown_line_and_what_the_intake_refuses_store_nothing(store_of: StoreOf) -> None:
    store = store_of(WITH_LIMIT)
    with pytest.raises(NotFoundError):
        set_limit(store, "NONE", ASKED, now=NOW)
    set_limit(store, "L1", ASKED, now=NOW)
    with pytest.raises(IntakeError) as refused:
        set_limit(store, "L1", replace(ASKED, limit="0.3"), now=NOW)
    assert str(refused.value).startswith("the limit row 2, column limit_um: ")
    with store.read() as record:
        assert record.scalars(select(Tolerance.limit_um).order_by(Tolerance.id)).all() == [200.0, 200.0, 250.0, 250.0]


def test_a_typed_day_and_grounds_that_look_like_a_formula_are_kept_as_typed(store_of: StoreOf) -> None:
    store = store_of(WITH_LIMIT)
    set_limit(store, "L1", replace(ASKED, from_on="1 Dec 2026", basis="=0.5 of the clearance", axes=("h",)), now=NOW)
    with store.read() as record:
        (row,) = record.scalars(select(Tolerance).where(Tolerance.from_on.is_not(None))).all()
    assert (row.from_on, row.axis, row.basis) == (date(2026, 12, 1), "h", "=0.5 of the clearance")
    view = line_view(store, "L1", now=NOW)
    assert view.limits is not None
    assert [row.standing for row in view.limits.rows] == ["to come", "in force", "in force"]


def test_a_visit_late_in_the_evening_is_judged_by_the_limit_of_its_day_at_the_site(store_of: StoreOf) -> None:
    # 23:30 in Tokyo on 30 September is 14:30 UTC of that day; 00:30 on 1 October is still 30 September in UTC.
    night = {
        **RECORD,
        "sites": "site,name,time_zone\nT,Tokyo,Asia/Tokyo\n",
        "lines": "line,site\nL1,T\n",
        "sessions": (
            "session,line,started_at\nL1-1,L1,2026-09-30T23:30\nL1-2,L1,2026-10-01T00:30\nL1-3,L1,2026-10-20T08:00\n"
        ),
        "tolerances": "line,axis,from_on,limit_um\nL1,v,,100\nL1,v,2026-10-01,400\n",
    }
    view = line_view(store_of(night), "L1", station="S2", axis="v", now=datetime(2026, 11, 1, tzinfo=UTC))
    assert [(session, verdict_) for session, _, verdict_ in seen(view)] == [
        ("L1-1", "over"),
        ("L1-2", "past watch"),
        ("L1-3", "past watch"),
    ]
