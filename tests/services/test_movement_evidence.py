"""What the record holds beside a movement, brought in by files and worked out by hand: level, wear, findings, axis."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
from record_sources import NOW, write_source

from fleet.services.importing import import_folder
from fleet.services.line_page import LineView, line_view
from fleet.services.movement_evidence import MovementEvidence
from fleet.store.engine import Store, open_store

StoreOf = Callable[..., Store]

# The bore goes lower in proportion to its distance: 0 at the flange, 70 um lower at 1 m, 140 at 2 m, 210 at 3 m.
RECORD = {
    "lines": "line\nL1\n",
    "stations": "line,station,distance_mm\nL1,S1,1000\nL1,S2,2000\nL1,S3,3000\n",
    "barrels": "barrel,bore_mm,outside_diameter_mm,length_mm\nB1,120,240,3400\n",
    "screws": "screw,diameter_mm\nW1,119.76\n",
    "placements": "line,asset_kind,asset,installed_on\nL1,barrel,B1,2015-01-01\nL1,screw,W1,2015-01-01\n",
    "sessions": "session,line,started_at\nA,L1,2025-03-10T08:00\nB,L1,2026-03-10T08:00\nC,L1,2026-06-10T08:00\n",
    "surveys": (
        "session,survey,phase,gearbox_level_um_per_m,axis_by\nA,1,as_found,-10,shaft_turned\n"
        "B,1,as_found,60,shaft_turned\nC,1,as_found,,bore_centred\n"
    ),
    "offsets": (
        "session,survey,station,v,h,unit,u_v,u_h\n"
        "A,1,S1,0,0,um,6,6\nA,1,S2,0,0,um,6,6\nA,1,S3,0,0,um,6,6\n"
        "B,1,S1,-70,0,um,6,6\nB,1,S2,-140,0,um,6,6\nB,1,S3,-210,0,um,6,6\n"
        "C,1,S1,-70,0,um,6,6\nC,1,S2,-140,0,um,6,6\nC,1,S3,-210,0,um,6,6\n"
    ),
    "findings": (
        "session,item,value,unit,note\nA,bearing play,0.03,mm,axial\nB,soft foot,0.12,mm,gearbox front\n"
        "C,cracked grout,,,at support A\n"
    ),
    "wear": (
        "asset_kind,asset,measured_at,distance_mm,diameter_v,diameter_h,unit,method\n"
        "barrel,B1,2024-05-01,3000,120.020,120.010,mm,bore gauge\n"
        "barrel,B1,2025-09-01,3000,120.120,120.080,mm,bore gauge\n"
        "barrel,B1,2025-09-01,1000,120.030,120.020,mm,bore gauge\n"
        "screw,W1,2025-09-01,3000,119.700,,mm,micrometer\n"
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def view_of(
    sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Callable[[str, str], LineView]]:
    """A way to look at two surveys of the line side by side."""
    folder = tmp_path_factory.mktemp("beside")
    shutil.copyfile(sqlite_template, folder / "record.sqlite")
    store = open_store(f"sqlite:///{folder / 'record.sqlite'}")
    import_folder(store, write_source(folder / "source", RECORD), who="tester", now=NOW)
    yield lambda a, b: line_view(store, "L1", first=a, second=b, now=NOW)
    store.close()


def beside(view: LineView) -> MovementEvidence:
    assert view.beside is not None
    return view.beside


def test_a_gearbox_that_tilted_as_far_as_the_bore_turned_accounts_for_all_of_it(
    view_of: Callable[[str, str], LineView],
) -> None:
    level = beside(view_of("A/1", "B/1")).level
    assert level is not None
    # -10 to 60 um/m: 70 um/m higher toward the discharge end, at 3 m 210 um lower, as measured.
    assert (level.station, level.tilt_um_per_m, level.accounts_um) == ("S3", 70.0, -210.0)
    assert level.moved_um == pytest.approx(-210.0)
    assert level.rest_um_per_m == pytest.approx(0.0, abs=1e-9)
    # Two readings of 10 um/m each (from memory): 1.959964 * sqrt(2) * 10 = 27.718 um/m; at 3 m 83.15 um.
    assert level.u95_tilt_um_per_m == pytest.approx(27.718, abs=1e-3)
    assert level.u95_accounts_um == pytest.approx(83.154, abs=1e-3)
    assert level.which == "gearbox"


def test_which_survey_is_shown_first_changes_nothing_of_what_happened(
    view_of: Callable[[str, str], LineView],
) -> None:
    assert view_of("B/1", "A/1").beside == view_of("A/1", "B/1").beside


def test_without_both_levels_neither_is_blamed(view_of: Callable[[str, str], LineView]) -> None:
    later = beside(view_of("B/1", "C/1"))
    assert (later.level, later.no_level) == (None, "at the first only")


def test_two_ways_of_telling_the_axis_are_remarked_on(view_of: Callable[[str, str], LineView]) -> None:
    assert beside(view_of("A/1", "B/1")).axis_by is None
    assert beside(view_of("A/1", "C/1")).axis_by == ("shaft_turned", "bore_centred")


def test_what_was_found_from_the_first_visit_to_the_second_stands_beside_it(
    view_of: Callable[[str, str], LineView],
) -> None:
    found = beside(view_of("A/1", "B/1")).findings
    assert [(fact.on, fact.item, fact.value, fact.unit, fact.note) for fact in found] == [
        (date(2025, 3, 10), "bearing play", "0.03", "mm", "axial"),
        (date(2026, 3, 10), "soft foot", "0.12", "mm", "gearbox front"),
    ]


def test_wear_since_the_first_survey_lets_a_target_sit_half_of_it_lower(
    view_of: Callable[[str, str], LineView],
) -> None:
    held = beside(view_of("A/1", "B/1"))
    facts = {(fact.kind, fact.distance_mm): fact for fact in held.wear}
    far = facts["barrel", 3000.0]
    # 120.120 - 120.000 mm; 120.120 - 120.020 since May 2024; half of that is 0.050 mm.
    assert far.measured_on == date(2025, 9, 1)
    assert far.wider_v_um == pytest.approx(120.0)
    assert far.since_v_um == pytest.approx(100.0)
    assert far.could_shift_um == pytest.approx(50.0)
    near = facts["barrel", 1000.0]
    # Not measured there before: at most all of the 0.030 mm came since.
    assert (near.since_v_um, near.could_shift_um) == (None, pytest.approx(15.0))
    screw = facts["screw", 3000.0]
    assert (screw.wider_v_um, screw.could_shift_um) == (pytest.approx(-60.0), None)
    # Two offsets of 6 um each: 1.96 * sqrt(72) = 16.6 um is less than 50.
    assert held.worn_um == pytest.approx(50.0)


def test_wear_measured_before_the_first_survey_says_nothing_of_the_time_between(
    view_of: Callable[[str, str], LineView],
) -> None:
    held = beside(view_of("B/1", "C/1"))
    assert {fact.since_first for fact in held.wear} == {False}
    assert [fact.could_shift_um for fact in held.wear] == [None, None, None]
    assert held.worn_um is None


def test_an_exchanged_gearbox_makes_two_levels_say_nothing(store_of: StoreOf) -> None:
    exchanged = {
        **RECORD,
        "gearboxes": "gearbox\nG1\nG2\n",
        "placements": (
            "line,asset_kind,asset,installed_on,removed_on\nL1,gearbox,G1,2015-01-01,2025-08-01\n"
            "L1,gearbox,G2,2025-08-01,\nL1,barrel,B1,2015-01-01,\nL1,screw,W1,2015-01-01,\n"
        ),
    }
    held = beside(line_view(store_of(exchanged), "L1", first="A/1", second="B/1", now=NOW))
    assert (held.level, held.no_level) == (None, "gearbox exchanged")
