"""The heat model: by-hand figures, an independent vee, published coefficients, and records with holes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from fleet.thermal.expansion import carbon_steel_elongation
from fleet.thermal.geometry import LineGeometry, SupportGeometry, Temperatures
from fleet.thermal.rise import Rise, frame_of, rise, rises
from fleet.values import FloatArray

ALL_COLD = Temperatures(barrel_c=20.0, gearbox_c=20.0, base_c=20.0)


def support(code: str, distance_mm: float, **known: object) -> SupportGeometry:
    usual: dict[str, object] = {"height_mm": 700.0, "saddle": "vee", "vee_angle_deg": 90.0, "carries": "rigid"}
    return SupportGeometry(code=code, distance_mm=distance_mm, **(usual | known))  # type: ignore[arg-type]


def line(*supports: SupportGeometry, **known: object) -> LineGeometry:
    usual: dict[str, object] = {
        "barrel_outside_diameter_mm": 200.0,
        "barrel_length_mm": 3000.0,
        "barrel_expansion_per_k": 11.5e-6,
        "gearbox_centre_height_mm": 600.0,
        "gearbox_expansion_per_k": 11.0e-6,
    }
    return LineGeometry(supports=supports, **(usual | known))  # type: ignore[arg-type]


def at(*distance_mm: float) -> FloatArray:
    return np.array(distance_mm)


def finite(result: Rise) -> bool:
    return bool(np.isfinite(result.v_um).all() and np.isfinite(result.covariance).all())


@pytest.mark.parametrize(
    ("saddle", "angle", "expected_um"),
    [("vee", 90.0, 292.74), ("vee", 120.0, 239.02), ("flat", None, 207.00), ("plate", None, 207.00)],
)
def test_a_barrel_rises_over_its_saddle_as_worked_by_hand(saddle: str, angle: float | None, expected_um: float) -> None:
    # by hand: 11.5e-6 /K x 100 mm x 180 K, over sin(half the included angle) on a vee
    geometry = line(support("U1", 1000.0, saddle=saddle, vee_angle_deg=angle))
    result = rise(geometry, replace(ALL_COLD, barrel_c=200.0), at(1000.0))
    assert result.v_um[0] == pytest.approx(expected_um, abs=0.005)
    assert result.supports[0].over_saddle_um == pytest.approx(expected_um, abs=0.005)


def test_a_centreline_mount_lifts_by_its_base_alone() -> None:
    # by hand: 11e-6 x 700 mm x 10 K = 77 um
    geometry = line(support("U1", 1000.0, saddle="centreline", vee_angle_deg=None, base_expansion_per_k=11.0e-6))
    result = rise(geometry, Temperatures(barrel_c=200.0, gearbox_c=20.0, base_c=30.0), at(1000.0))
    assert result.v_um[0] == pytest.approx(77.0, abs=1e-9)


def test_a_warm_gearbox_takes_its_own_rise_off() -> None:
    # by hand: 11e-6 /K x 600 mm x 40 K = 264.00 um
    result = rise(line(support("U1", 1000.0)), replace(ALL_COLD, gearbox_c=60.0), at(1000.0))
    assert result.v_um[0] == pytest.approx(-264.00, abs=0.005)
    assert result.gearbox_rise_um == pytest.approx(264.00, abs=0.005)


@pytest.mark.parametrize("angle_deg", [60.0, 90.0, 120.0, 150.0])
def test_the_vee_lifts_a_grown_circle_until_it_touches_both_flanks_again(angle_deg: float) -> None:
    # Built without the formula: bisect for the centre height at which the distance to a flank is the radius.
    def centre_height_mm(radius_mm: float) -> float:
        flank = np.array([math.sin(math.radians(angle_deg / 2)), math.cos(math.radians(angle_deg / 2))])

        def gap(height: float) -> float:
            foot = flank * (flank @ np.array([0.0, height]))
            return float(np.linalg.norm(np.array([0.0, height]) - foot)) - radius_mm

        return float(brentq(gap, radius_mm, 20 * radius_mm, xtol=1e-12))

    grown = 100.0 * (1.0 + 11.5e-6 * 180.0)
    expected_um = 1000.0 * (centre_height_mm(grown) - centre_height_mm(100.0))
    geometry = line(support("U1", 1000.0, vee_angle_deg=angle_deg))
    result = rise(geometry, replace(ALL_COLD, barrel_c=200.0), at(1000.0))
    assert result.v_um[0] == pytest.approx(expected_um, rel=1e-6)


def test_below_a_vee_only_the_height_under_the_apex_counts_for_the_base() -> None:
    # by hand: apex 100 sqrt(2) below the axis, so 700 - 141.42 = 558.58 mm; x 10e-6 x 20 K = 111.72 um
    geometry = line(support("U1", 1000.0, base_expansion_per_k=10.0e-6))
    result = rise(geometry, replace(ALL_COLD, base_c=40.0), at(1000.0))
    assert result.v_um[0] == pytest.approx(111.716, abs=0.001)


def test_a_carbon_steel_barrel_rises_by_the_fire_codes_elongation() -> None:
    # EN 1993-1-2:2005, 3.4.1.1: dl/l(200 C) = 2.3184e-3; a radius of 100 mm on a flat saddle rises 231.84 um
    geometry = line(
        support("U1", 1000.0, saddle="flat", vee_angle_deg=None),
        barrel_expansion_per_k=float(carbon_steel_elongation(200.0)) / 180.0,
    )
    assert rise(geometry, replace(ALL_COLD, barrel_c=200.0), at(1000.0)).v_um[0] == pytest.approx(231.84, abs=0.001)


def test_a_nitrided_barrel_lies_within_the_stated_uncertainty_of_carbon_steels_published_growth() -> None:
    # EN 1993-1-2:2005 (carbon steel, 12.88e-6) and the data sheet of 1.8519 (12.1e-6) differ by 6 %: within two of 5 %
    geometry = line(support("U1", 1000.0, saddle="flat", vee_angle_deg=None), barrel_expansion_per_k=None)
    result = rise(geometry, replace(ALL_COLD, barrel_c=200.0), at(1000.0), gearbox_level_recorded=True)
    published_um = 100.0 * 1000.0 * 2.3184e-3
    assert 0.0 < published_um - result.v_um[0] < 2.0 * result.u_um[0]


def test_the_rise_runs_straight_from_the_flange_through_the_rigid_supports_and_on_beyond_the_last() -> None:
    # by hand: 90 degrees 292.74 at 2000, flat 207.00 at 3000; floating U2 at 2500 pins nothing
    geometry = line(
        support("U3", 3000.0, saddle="flat", vee_angle_deg=None),
        support("U2", 2500.0, carries="floating", vee_angle_deg=60.0),
        support("U1", 2000.0),
    )
    result = rise(geometry, replace(ALL_COLD, barrel_c=200.0), at(0.0, 1000.0, 2000.0, 2500.0, 3000.0, 4000.0))
    expected = [0.0, 146.37, 292.74, (292.74 + 207.0) / 2, 207.0, 207.0 - (292.74 - 207.0)]
    np.testing.assert_allclose(result.v_um, expected, atol=0.01)
    assert [(s.code, s.pins) for s in result.supports] == [("U1", True), ("U2", False), ("U3", True)]


def test_with_one_rigid_support_the_line_from_the_flange_runs_straight_on() -> None:
    result = rise(line(support("U1", 1000.0)), replace(ALL_COLD, barrel_c=200.0), at(500.0, 2000.0))
    np.testing.assert_allclose(result.v_um, [146.37, 585.48], atol=0.01)


def test_a_line_at_its_cold_reference_has_not_risen_whatever_that_is() -> None:
    geometry = line(support("U1", 1000.0), cold_reference_c=24.0)
    result = rise(geometry, Temperatures(barrel_c=24.0, gearbox_c=24.0, base_c=24.0), at(500.0, 1000.0))
    np.testing.assert_array_equal(result.v_um, 0.0)


def test_a_line_colder_than_its_reference_sinks() -> None:
    # by hand: flat saddle 11.5e-6 x 100 mm x -30 K = -34.5 um
    geometry = line(support("U1", 1000.0, saddle="flat", vee_angle_deg=None))
    result = rise(geometry, replace(ALL_COLD, barrel_c=-10.0), at(1000.0))
    assert result.v_um[0] == pytest.approx(-34.5)
    assert not result.warm
    assert finite(result)


def test_a_supports_own_temperatures_go_before_the_lines() -> None:
    geometry = line(*(support(c, d, saddle="flat", vee_angle_deg=None) for c, d in (("U1", 1000.0), ("U2", 2000.0))))
    own = Temperatures(
        barrel_c=200.0, gearbox_c=20.0, base_c=20.0, support_barrel_c={"U1": 100.0}, support_base_c={"U2": 30.0}
    )
    result = rise(geometry, own, at(1000.0, 2000.0))
    # by hand: 11.5e-6 x 100 x 80 = 92.0; 207.0 + 11e-6 x 600 x 10 = 273.0
    np.testing.assert_allclose(result.v_um, [92.0, 273.0], atol=1e-9)


def test_an_unrecorded_base_follows_the_barrel_by_a_twentieth_with_as_much_doubt() -> None:
    # by hand: 9 K x 11e-6 x 600 mm = 59.4 um on a flat saddle, and its standard uncertainty adds 59.4 um
    geometry = line(support("U1", 1000.0, saddle="flat", vee_angle_deg=None), gearbox_centre_height_mm=None)
    hot = Temperatures(barrel_c=200.0, gearbox_c=20.0)
    result = rise(geometry, hot, at(1000.0), gearbox_level_recorded=True)
    assert result.supports[0].base_um == pytest.approx(59.4)
    # 5 % of 207.0 and of 59.4, 3 K on the barrel (3.45 um), and 59.4
    expected = math.sqrt((0.05 * 207.0) ** 2 + (0.05 * 59.4) ** 2 + 3.45**2 + 59.4**2)
    assert result.u_um[0] == pytest.approx(expected, rel=1e-9)
    assert any("base" in remark for remark in result.remarks)


def test_an_oil_temperature_counts_six_tenths_with_two_tenths_of_doubt() -> None:
    # by hand: 0.6 x 40 K x 6.6 um/K = 158.4 um; doubt 0.2 x 40 K x 6.6 = 52.8, 5 % 7.92, 3 K 19.8
    warm = replace(ALL_COLD, gearbox_c=60.0, gearbox_c_at="oil")
    result = rise(line(support("U1", 1000.0)), warm, at(1000.0))
    assert result.gearbox_rise_um == pytest.approx(158.4)
    assert result.u_gearbox_rise_um == pytest.approx(math.sqrt(52.8**2 + 7.92**2 + 19.8**2))


def test_a_gearbox_not_recorded_on_a_warm_record_stands_at_the_reference_within_ten_kelvin() -> None:
    # by hand: 10 K x 6.6 um/K = 66 um
    result = rise(line(support("U1", 1000.0)), Temperatures(barrel_c=200.0, base_c=20.0), at(1000.0))
    assert result.gearbox_rise_um == 0.0
    assert result.u_gearbox_rise_um == pytest.approx(66.0)
    assert any("gearbox temperature" in remark for remark in result.remarks)


def test_bodies_alike_share_their_thermometers_error() -> None:
    # by hand, flat saddle: 3 K common x (1.15 + 6.6 - 6.6 um/K), 0.5 K on each, no expansion yet at the reference
    geometry = line(support("U1", 1000.0, saddle="flat", vee_angle_deg=None))
    alike = rise(geometry, ALL_COLD, at(1000.0))
    assert alike.u_um[0] == pytest.approx(math.sqrt((3 * 1.15) ** 2 + 0.25 * (1.15**2 + 6.6**2 + 6.6**2)))
    apart = rise(geometry, replace(ALL_COLD, gearbox_c=30.5), at(1000.0), gearbox_level_recorded=True)
    own = 9.0 * (1.15**2 + 6.6**2 + 6.6**2)
    assert apart.u_um[0] == pytest.approx(math.sqrt(own + (0.05 * 6.6 * 10.5) ** 2))


def test_an_unrecorded_tilt_counts_fifteen_micrometres_a_metre_on_warm_records_only() -> None:
    geometry = line(support("U1", 1000.0))
    hot = replace(ALL_COLD, barrel_c=200.0)
    tilted = rise(geometry, hot, at(1000.0, 4000.0))
    levelled = rise(geometry, hot, at(1000.0, 4000.0), gearbox_level_recorded=True)
    # one tilt for the whole line: 15 and 60 um, fully correlated
    np.testing.assert_allclose(tilted.covariance - levelled.covariance, [[225.0, 900.0], [900.0, 3600.0]], atol=1e-8)
    summer = Temperatures(barrel_c=29.0, gearbox_c=29.0, base_c=29.0)
    without = rise(geometry, summer, at(4000.0), gearbox_level_recorded=True).u_um
    np.testing.assert_array_equal(rise(geometry, summer, at(4000.0)).u_um, without)
    called_warm = rise(geometry, summer, at(4000.0), warm_record=True).u_um
    assert called_warm[0] == pytest.approx(math.hypot(without[0], 60.0))


def test_the_stated_uncertainty_is_the_spread_of_lines_whose_causes_vary_as_stated() -> None:
    rng = np.random.default_rng(20)
    two = (support("U1", 2000.0, base_expansion_per_k=11e-6), support("U2", 3000.0, base_expansion_per_k=11e-6))
    geometry = line(*two)
    hot = Temperatures(barrel_c=200.0, gearbox_c=45.0, base_c=30.0)
    x = at(1000.0, 2500.0, 3500.0)
    stated = rise(geometry, hot, x, gearbox_level_recorded=True)
    drawn = []
    for _ in range(1500):
        barrel, base, gearbox = 1.0 + 0.05 * rng.standard_normal(3)
        t = 3.0 * rng.standard_normal(3)
        other = replace(
            geometry,
            supports=tuple(replace(s, base_expansion_per_k=11e-6 * base) for s in two),
            barrel_expansion_per_k=11.5e-6 * barrel,
            gearbox_expansion_per_k=11.0e-6 * gearbox,
        )
        drawn.append(rise(other, Temperatures(200.0 + t[0], 45.0 + t[1], "casing_mean", 30.0 + t[2]), x).v_um)
    spread = np.cov(np.array(drawn).T)
    # standard error of a standard deviation from 1500 draws: 1.8 %; four of them
    np.testing.assert_allclose(np.sqrt(np.diag(spread)), stated.u_um, rtol=0.075)
    np.testing.assert_allclose(
        spread / np.sqrt(np.outer(np.diag(spread), np.diag(spread))),
        stated.covariance / np.outer(stated.u_um, stated.u_um),
        atol=0.06,
    )


def test_lengthways_growth_is_told_because_supports_must_let_it_slide() -> None:
    # by hand: 11.5e-6 x 3000 mm x 180 K = 6.21 mm
    hot = replace(ALL_COLD, barrel_c=200.0)
    assert rise(line(support("U1", 1000.0)), hot, at(1.0)).length_growth_mm == pytest.approx(6.21)
    assert rise(line(support("U1", 1000.0), barrel_length_mm=None), hot, at(1.0)).length_growth_mm is None


def test_no_temperature_means_no_correction() -> None:
    result = rise(line(support("U1", 1000.0)), Temperatures(), at(500.0, 1000.0))
    assert not result.applicable
    np.testing.assert_array_equal(result.v_um, 0.0)
    np.testing.assert_array_equal(result.covariance, 0.0)


@pytest.mark.parametrize(
    ("supports", "said"),
    [
        ((), "no support is recorded"),
        ((support("U1", 1000.0, carries="floating"),), "no support carries the barrel rigidly"),
        ((SupportGeometry("U1", 1000.0, carries="rigid"),), "no rigid support has a saddle and height"),
    ],
)
def test_temperatures_without_geometry_correct_nothing_and_say_how_much_could_hide(
    supports: tuple[SupportGeometry, ...], said: str
) -> None:
    result = rise(LineGeometry(supports=supports), Temperatures(barrel_c=200.0), at(500.0, 1000.0))
    assert not result.applicable
    np.testing.assert_array_equal(result.v_um, 0.0)
    (remark,) = result.remarks
    assert said in remark
    # a 200 mm barrel on a 90 degree vee rises about 0.3 mm: the remark names that size
    figure = float(remark.split("about ")[1].split(" um")[0])
    assert 250.0 < figure < 450.0


@pytest.mark.parametrize(
    ("known", "of_line", "said"),
    [
        ({"vee_angle_deg": None}, {}, "support U2: no vee angle is recorded"),
        ({"vee_angle_deg": 180.0}, {}, "support U2: a vee of 180 degrees cannot be"),
        ({"saddle": None}, {}, "support U2: no saddle is recorded"),
        ({"height_mm": None}, {}, "support U2: no height is recorded"),
        ({"height_mm": 90.0}, {}, "support U2: its height of 90 mm is less"),
        ({"saddle": "flat"}, {}, "support U2: a vee angle is recorded on a flat saddle"),
        ({"carries": None}, {}, "support U2 is taken as rigid"),
        ({"distance_mm": 1000.0}, {}, "supports U1, U2 stand at the same 1000 mm"),
        ({"distance_mm": 0.0}, {}, "support U2 at 0 mm does not lie beyond the flange"),
        ({}, {"gearbox_centre_height_mm": None}, "the gearbox's centre height is not recorded"),
    ],
)
def test_holes_and_contradictions_in_a_record_are_said_and_leave_a_figure(
    known: dict[str, object], of_line: dict[str, object], said: str
) -> None:
    geometry = line(support("U1", 1000.0), replace(support("U2", 2000.0), **known), **of_line)  # type: ignore[arg-type]
    result = rise(geometry, Temperatures(barrel_c=200.0, gearbox_c=40.0, base_c=25.0), at(500.0, 2500.0))
    assert result.applicable
    assert any(said in remark for remark in result.remarks), result.remarks
    assert finite(result)


def test_a_part_without_its_height_counts_nothing_and_leaves_the_other_part() -> None:
    geometry = line(support("U1", 1000.0, height_mm=None))
    result = rise(geometry, Temperatures(barrel_c=200.0, gearbox_c=20.0, base_c=60.0), at(1000.0))
    assert result.v_um[0] == pytest.approx(292.74, abs=0.005)


def test_a_barrel_without_diameter_still_rises_with_a_centreline_mount() -> None:
    geometry = line(
        support("U1", 1000.0, saddle="centreline", vee_angle_deg=None),
        support("U2", 2000.0),
        barrel_outside_diameter_mm=None,
    )
    result = rise(geometry, replace(ALL_COLD, base_c=30.0), at(1000.0, 2000.0))
    np.testing.assert_allclose(result.v_um, [77.0, 0.0], atol=1e-9)
    assert any("outside diameter is not recorded" in remark for remark in result.remarks)


def test_a_warm_gearbox_alone_is_corrected_for_and_the_missing_barrel_said() -> None:
    result = rise(line(support("U1", 1000.0)), Temperatures(gearbox_c=60.0), at(1000.0))
    assert result.v_um[0] == pytest.approx(-264.0)
    assert any("no barrel temperature" in remark for remark in result.remarks)
    assert finite(result)


def test_a_gearbox_rise_that_counts_nothing_for_want_of_a_record_is_not_passed_off_as_known() -> None:
    assert rise(line(support("U1", 1000.0)), ALL_COLD, at(1.0)).gearbox_known
    assert rise(line(), ALL_COLD, at(1.0)).gearbox_known
    assert not rise(line(support("U1", 1000.0)), Temperatures(), at(1.0)).gearbox_known
    assert not rise(line(support("U1", 1000.0), gearbox_centre_height_mm=None), ALL_COLD, at(1.0)).gearbox_known


def test_no_station_is_no_trouble() -> None:
    assert rise(line(support("U1", 1000.0)), ALL_COLD, at()).v_um.shape == (0,)


def test_many_records_of_a_line_rise_as_each_does_alone() -> None:
    rng = np.random.default_rng(3)
    geometry = line(
        support("U1", 1000.0),
        support("U2", 2000.0, saddle="flat", vee_angle_deg=None),
        support("U3", 2000.0, carries="floating"),
        support("U4", 3000.0, saddle="centreline", vee_angle_deg=None, base_expansion_per_k=12.0e-6),
    )
    maybe = [lambda high: float(rng.uniform(10.0, high)), lambda _: None]
    records = [Temperatures()]
    for _ in range(40):
        barrel, gearbox, base = (maybe[int(rng.random() < 0.3)](high) for high in (250.0, 80.0, 45.0))
        at_oil = bool(rng.random() < 0.5)
        own = {"U2": float(rng.uniform(100.0, 200.0))} if rng.random() < 0.4 else {}
        records.append(Temperatures(barrel, gearbox, "oil" if at_oil else "casing_mean", base, own, {}))
    x, other = at(500.0, 1500.0, 3500.0), line(support("U9", 700.0), gearbox_centre_height_mm=None)
    geometries = [geometry, other, LineGeometry()]
    frames = [frame_of(g, x) for g in geometries]
    of = np.arange(len(records)) % 3
    record, station = (a.ravel() for a in np.meshgrid(np.arange(len(records)), np.arange(3), indexing="ij"))
    found = rises(frames, of, records, record, station)
    applied = 0
    for k, temperatures in enumerate(records):
        alone, here = rise(geometries[of[k]], temperatures, x), record == k
        assert alone.applicable == bool(np.isfinite(found.v_um[here]).all())
        assert alone.gearbox_known == bool(np.isfinite(found.gearbox_rise_um[here]).all())
        if alone.gearbox_known:
            np.testing.assert_allclose(found.gearbox_rise_um[here], alone.gearbox_rise_um)
            np.testing.assert_allclose(found.u_gearbox_rise_um[here], alone.u_gearbox_rise_um)
        if alone.applicable:
            applied += 1
            np.testing.assert_allclose(found.v_um[here], alone.v_um)
            np.testing.assert_allclose(found.u_um[here], alone.u_um)
            assert (found.u_record_um[here] < found.u_um[here]).all()
    assert applied > 20
    assert rises([], record[:0], [], record[:0], station[:0]).v_um.size == 0


def test_what_comes_from_reading_temperatures_is_told_from_what_errs_alike_every_time() -> None:
    # by hand, flat saddle on 600 mm of base, levelled by nobody: readings of 3 K on 1.15, 6.6 and 6.6 um/K
    geometry = line(support("U1", 1000.0, saddle="flat", vee_angle_deg=None))
    zero, hot = np.zeros(1, dtype=np.int64), Temperatures(200.0, 60.0, "casing_mean", 40.0)
    found = rises([frame_of(geometry, at(1000.0))], zero, [hot], zero, zero)
    per_k = np.array([1.15, 11.0e-3 * 600.0, 6.6])
    assert found.u_record_um[0] == pytest.approx(3.0 * math.sqrt(float(per_k @ per_k)), rel=1e-3)
    # 5 % of each part and 15 um/m of tilt are the line's own
    lasting = math.sqrt((0.05 * 207.0) ** 2 + (0.05 * 6.6 * 20.0) ** 2 + (0.05 * 264.0) ** 2 + 15.0**2)
    assert math.sqrt(found.u_um[0] ** 2 - found.u_record_um[0] ** 2) == pytest.approx(lasting, rel=1e-3)


@pytest.mark.parametrize(
    ("bore_in", "outside_mm", "height_mm", "barrel_c", "oil_c", "base_c", "rule_thou"),
    [(2.5, 125.0, 900.0, 200.0, 60.0, 26.0, 2.5), (6.0, 265.0, 900.0, 200.0, 60.0, 30.0, 10.0)],
)
def test_at_ordinary_sizes_and_temperatures_the_model_and_the_trades_rule_of_thumb_agree(
    bore_in: float,
    outside_mm: float,
    height_mm: float,
    barrel_c: float,
    oil_c: float,
    base_c: float,
    rule_thou: float,
) -> None:
    # The rule: a 2.5 in barrel 0.002 to 0.003 in low, a 6 in one about 0.010 in (common practice, no source). Sizes,
    # a vee of 90 degrees and temperatures such as such lines have: from memory.
    assert bore_in * 25.4 < 0.65 * outside_mm
    geometry = LineGeometry(
        supports=(SupportGeometry("U1", 2000.0, height_mm, "vee", 90.0, "rigid"),),
        barrel_outside_diameter_mm=outside_mm,
        gearbox_centre_height_mm=height_mm,
    )
    got = rise(geometry, Temperatures(barrel_c, oil_c, "oil", base_c), at(2000.0))
    rule_um = rule_thou * 25.4
    assert abs(got.v_um[0] - rule_um) < 100.0
    assert abs(got.v_um[0] - rule_um) < 1.96 * got.u_um[0]
    assert got.u_um[0] < 100.0  # or anything would lie within it
