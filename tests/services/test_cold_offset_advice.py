"""What to set next and what was set before, and warm-ups, through the real import: small lines worked out by hand."""

from __future__ import annotations

from collections.abc import Callable
from math import exp, sqrt

import pytest
from record_sources import NOW, write_source

from fleet.errors import FleetError
from fleet.services.cold_offset_advice import ColdOffsetAdvice, TargetLeft
from fleet.services.cold_offsets import cold_offset_rows
from fleet.services.cold_offsets_page import cold_offsets_view
from fleet.services.importing import import_folder
from fleet.store.engine import Store

CHECKS = "line,checked_at,station,v_rise,h_rise,unit,u,barrel_c,gearbox_c,base_c,hours_since_heats_on\n"
PLANT = {
    "sites": "site,time_zone\nEA,UTC\n",
    "lines": "line,site,screw_diameter_mm\nL1,EA,100\n",
    "gearboxes": "gearbox,centre_height_mm\nG1,600\n",
    "barrels": "barrel,bore_mm,outside_diameter_mm,length_mm,expansion_per_k\nB1,100,200,3000,0.0000115\n",
    "placements": "line,asset_kind,asset,installed_on\nL1,gearbox,G1,2015-01-01\nL1,barrel,B1,2015-01-01\n",
    "supports": "line,support,distance_mm,height_mm,saddle,carries\nL1,U1,1000,700,flat,rigid\n",
    "stations": "line,station,distance_mm,support\nL1,S1,1000,U1\nL1,S2,2000,\n",
}
SESSIONS = {
    "sessions": "session,line,started_at,technician\n"
    "V1,L1,2020-01-10T08:00,A. Fitter\nV2,L1,2021-01-10T08:00,B. Fitter\nV3,L1,2024-01-10T08:00,A. Fitter\n",
    "surveys": "session,survey,phase\nV1,1,as_left\nV2,1,as_left\nV3,1,as_left\n",
    "offsets": "session,survey,station,v,h,unit\n"
    + "".join(f"V{n},1,{s},{v},0,um\n" for n, v in ((1, -60), (2, -100), (3, -140)) for s in ("S1", "S2")),
    "cold_targets": "session,station,v,h,unit,basis,reason\n"
    "V1,S1,-63,0,um,drop for the size,\nV3,S1,-200,0,um,own record,ran high twice\n",
    "tolerances": "line,axis,from_on,watch_um,limit_um,set_within_um\nL1,v,,80,150,25\nL1,v,2023-01-01,80,150,50\n",
}


def checks(*rows: tuple[str, float, float]) -> str:
    """Rows of (time, rise at S1, rise at S2); the model says 207 um at S1: 11.5e-6 x 100 mm x 180 K, all else cold."""
    told = [f"L1,{when},{s},{v},0,um,10,200,20,20,48\n" for when, a, b in rows for s, v in (("S1", a), ("S2", b))]
    return CHECKS + "".join(told)


RAN = checks(("2020-02-01T10:00", 237.0, 444.0), ("2021-02-01T10:00", 227.0, 450.0), ("2022-02-01T10:00", 277.0, 440.0))


def advice(store: Store, line: str = "L1") -> ColdOffsetAdvice:
    got = cold_offsets_view(store, line, now=NOW).advice
    assert got is not None
    return got


def left(got: ColdOffsetAdvice, session: str, station: str = "S1", axis: str = "v") -> TargetLeft:
    (row,) = [r for r in got.left if (r.session, r.station, r.axis) == (session, station, axis)]
    return row


def test_what_was_left_stands_beside_what_the_record_of_that_day_would_have_recommended(
    store_of: Callable[..., Store],
) -> None:
    got = advice(store_of({**PLANT, **SESSIONS, "running_checks": RAN}))
    assert [row.session for row in got.left] == ["V3"] * 4 + ["V2"] * 4 + ["V1"] * 4
    first, second, third = (left(got, session) for session in ("V1", "V2", "V3"))
    # 2020: nothing had run yet, no temperature known: only the rule of thumb, 100 mm between its two points:
    # 63.5 + (100 - 63.5) x (254 - 63.5) / (152.4 - 63.5) = 141.71 um (common practice, no source).
    assert (first.runs_known, first.recommended_way) == (0, "bore_size")
    assert first.recommended_um == pytest.approx(-141.71, abs=0.01)
    # 2021: one run, of 237 um, and no other line to be like: minus that, whatever is known later.
    assert (second.runs_known, second.recommended_way) == (1, "pooled")
    assert second.recommended_um == pytest.approx(-237.0)
    # 2024: three runs.
    assert third.runs_known == 3
    # Where it ran, and would have run: as-left, or that day's recommendation, and the next run's rise.
    assert (first.ran_um, second.ran_um, third.ran_um) == (pytest.approx(177.0), pytest.approx(127.0), None)
    assert first.would_have_run_um == pytest.approx(237.0 - 141.71, abs=0.01)
    assert third.would_have_run_um is None


def test_a_recommendation_of_that_day_does_not_know_what_came_later(store_of: Callable[..., Store]) -> None:
    short = RAN.splitlines(keepends=True)
    before = advice(store_of({**PLANT, **SESSIONS, "running_checks": "".join(short[:3])}))
    after = advice(store_of({**PLANT, **SESSIONS, "running_checks": RAN}))
    for axis in ("v", "h"):
        for station in ("S1", "S2"):
            then, now = (left(got, "V2", station, axis) for got in (before, after))
            assert (then.recommended_way, then.runs_known) == (now.recommended_way, now.runs_known)
            assert then.recommended_um == pytest.approx(now.recommended_um, abs=1e-9)
    assert left(before, "V3").recommended_um != pytest.approx(left(after, "V3").recommended_um, abs=1.0)


def test_an_as_left_meets_its_own_target_by_the_width_in_force_that_day(store_of: Callable[..., Store]) -> None:
    got = advice(store_of({**PLANT, **SESSIONS, "running_checks": RAN}))
    first, second, third = (left(got, session) for session in ("V1", "V2", "V3"))
    # by hand: |-60 + 63| = 3 within 25; |-100 + 63| = 37 not; |-140 + 200| = 60 not within 50
    assert [(r.target_um, r.target_own, r.set_within_um, r.met) for r in (first, second, third)] == [
        (-63.0, True, 25.0, True), (-63.0, False, 25.0, False), (-200.0, True, 50.0, False),
    ]  # fmt: skip
    assert (third.basis, third.reason, third.technician) == ("own record", "ran high twice", "A. Fitter")
    untold = left(got, "V1", "S2")
    assert (untold.target_um, untold.target_own, untold.met) == (None, False, None)


@pytest.mark.parametrize(
    ("runs", "said"), [(0, "No running check has judged"), (1, "One run says little"), (2, "Two runs say little")]
)
def test_with_fewer_than_three_runs_the_verdict_says_how_little_is_known(
    store_of: Callable[..., Store], runs: int, said: str
) -> None:
    rows = "".join(RAN.splitlines(keepends=True)[: 1 + 2 * runs])
    got = advice(store_of({**PLANT, **SESSIONS, "running_checks": rows}))
    assert said in got.verdict
    assert got.confidence is None
    assert not any(target.judged for target in got.targets)


def test_with_three_runs_the_verdict_names_a_way_and_the_advice_has_a_range(store_of: Callable[..., Store]) -> None:
    got = advice(store_of({**PLANT, **SESSIONS, "running_checks": RAN}))
    assert got.verdict.startswith("Over 3 runs ")
    assert "line L1 closest to zero" in got.verdict
    assert got.confidence is not None
    assert 0.2 <= got.confidence < 1.0
    assert [(t.station, t.axis) for t in got.targets] == [("S1", "v"), ("S1", "h"), ("S2", "v"), ("S2", "h")]
    for target in got.targets:
        assert None not in (target.low_um, target.expected_running_um, target.high_um)
        assert target.low_um < target.expected_running_um < target.high_um  # type: ignore[operator]
    assert got.surer is not None
    widest = max((t.high_um - t.low_um) / 2.0 for t in got.targets if t.axis == "v")  # type: ignore[operator]
    assert got.surer.half_now_um == pytest.approx(widest)
    assert got.surer.half_least_um < got.surer.half_then_um < got.surer.half_now_um
    assert got.surer.ask == "One more running check, 12 h or more after heats on, at all stations (S1, S2)"
    assert [(s.scope, s.axis, s.lines, s.runs) for s in got.scopes if s.axis == "v"] == [
        ("line", "v", 1, 3), ("size", "v", 1, 3), ("fleet", "v", 1, 3),
    ]  # fmt: skip


def warming(*hours: float) -> str:
    """S1 on its way from 40 to 240 um, S2 from 90 to 480, with 6 h to the first two thirds; heats on at 06:00."""
    rows = []
    for h in hours:
        for station, start, end in (("S1", 40.0, 240.0), ("S2", 90.0, 480.0)):
            rise = end + (start - end) * exp(-h / 6.0)
            rows.append(f"L1,2020-02-01T{6 + int(h):02d}:00,{station},{rise:.3f},0,um,4,200,20,20,{h:g}\n")
    return CHECKS + "".join(rows)


def test_a_warm_up_known_at_several_times_counts_as_the_rise_it_was_heading_for(store_of: Callable[..., Store]) -> None:
    store = store_of({**PLANT, **SESSIONS, "running_checks": warming(2, 4, 7, 10)})
    (row,) = [r for r in cold_offset_rows(store, now=NOW) if (r.station, r.axis) == ("S1", "v")]
    labels = [check.label for check in row.checks]
    assert labels == ["running, before soak"] * 3 + ["running, extrapolated", "running, before soak"]
    ended = row.checks[3]
    assert ended.rise_um == pytest.approx(240.0, abs=0.5)
    assert ended.ran_um == pytest.approx(180.0, abs=0.5)
    # What is measured is shown as measured, and only the end is judged.
    assert row.checks[0].rise_um == pytest.approx(240.0 - 200.0 * exp(-2.0 / 6.0), abs=0.001)
    heat = row.ways[2]
    assert [c.would_have_run_um for c in heat.checks] == [pytest.approx(240.0 - 207.0, abs=0.5)]
    assert (heat.runs, heat.rms_um) == (1, pytest.approx(33.0, abs=0.5))
    view = cold_offsets_view(store, "L1", station="S1", axis="v", now=NOW)
    shown = {check.label: check.u95_rise_um for check in view.checks}
    assert shown["running, extrapolated"] > shown["running, before soak"]  # type: ignore[operator]


def test_a_warm_up_that_does_not_tell_its_end_stays_marked_and_counts_as_measured(
    store_of: Callable[..., Store],
) -> None:
    (row,) = [
        r
        for r in cold_offset_rows(store_of({**PLANT, **SESSIONS, "running_checks": warming(2, 4)}), now=NOW)
        if (r.station, r.axis) == ("S1", "v")
    ]
    assert [check.label for check in row.checks] == ["running, before soak"] * 2
    none = row.ways[0]
    by_hand = [240.0 - 200.0 * exp(-h / 6.0) for h in (2.0, 4.0)]
    assert [c.would_have_run_um for c in none.checks] == pytest.approx(by_hand, abs=0.001)
    assert none.rms_um == pytest.approx(sqrt(sum(r**2 for r in by_hand) / 2.0), abs=0.001)


@pytest.mark.parametrize(
    ("check", "supports", "said"),
    [
        # colder than its reference: it sinks by 11.5e-6 x 100 mm x 30 K, and is a record like any other
        ("L1,2020-02-01T10:00,S1,-30,0,um,10,-10,20,20,48\n", None, None),
        ("L1,2020-02-01T10:00,S1,230,0,um,10,,,,48\n", None, None),
        ("L1,2020-02-01T10:00,S1,230,0,um,10,200,,20,48\n", None, "no gearbox temperature is recorded"),
        ("L1,2020-02-01T10:00,S1,230,,um,10,200,20,20,48\n", "L1,U1,1000,,,rigid\n", "no rigid support has a saddle"),
        ("L1,2020-02-01T10:00,S1,230,0,um,10,200,20,20,48\n", "L1,U1,1000,60,flat,rigid\n", "is less than the 100 mm"),
        ("L1,2020-02-01T10:00,S1,230,0,um,10,200,20,20,48\n", "L1,U1,1000,700,vee,rigid\n", "no rigid support has"),
    ],
)  # fmt: skip
def test_a_record_with_holes_or_contradictions_is_said_and_nothing_is_lost(
    store_of: Callable[..., Store], check: str, supports: str | None, said: str | None
) -> None:
    source = {**PLANT, **SESSIONS, "running_checks": CHECKS + check}
    if supports is not None:
        source["supports"] = PLANT["supports"].splitlines(keepends=True)[0] + supports
    store = store_of(source)
    (row,) = [r for r in cold_offset_rows(store, now=NOW) if (r.station, r.axis) == ("S1", "v")]
    assert [c.rise_um for c in row.checks] == [float(check.split(",")[3])]
    assert row.ways[0].runs == 1
    view = cold_offsets_view(store, "L1", station="S1", axis="v", now=NOW)
    assert view.advice is not None
    if said is not None:
        assert any(said in remark for remark in view.remarks), view.remarks


def test_a_run_colder_than_its_reference_is_modelled_as_sinking(store_of: Callable[..., Store]) -> None:
    rows = CHECKS + "L1,2020-02-01T10:00,S1,-30,0,um,10,-10,20,20,48\n"
    (row,) = [
        r
        for r in cold_offset_rows(store_of({**PLANT, **SESSIONS, "running_checks": rows}), now=NOW)
        if (r.station, r.axis) == ("S1", "v")
    ]
    # by hand: flat saddle, 11.5e-6 x 100 mm x -30 K = -34.5 um, so a target of +34.5
    assert row.ways[2].target_um == pytest.approx(34.5)


def test_a_contradictory_saddle_is_refused_by_a_sentence_and_nothing_is_stored(
    store_of: Callable[..., Store], tmp_path_factory: pytest.TempPathFactory
) -> None:
    store = store_of(PLANT)
    head = "line,support,distance_mm,height_mm,saddle,vee_angle_deg,carries\n"
    folder = write_source(
        tmp_path_factory.mktemp("bad") / "source", {"supports": f"{head}L1,U2,2000,700,vee,180,rigid\n"}
    )
    with pytest.raises(FleetError) as refused:
        import_folder(store, folder, who="tester", now=NOW)
    assert "vee_angle_deg" in str(refused.value)
    assert all(part.support != "U2" for part in cold_offsets_view(store, "L1", now=NOW).parts)
