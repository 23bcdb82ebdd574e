"""Growth of steel against EN 1993-1-2, ASME II-D table TE-1 and the nitriding steel's data sheet."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from fleet.errors import InputError
from fleet.thermal import expansion

DATA = Path(__file__).parents[1] / "data"


def table(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_elongation_is_that_of_the_structural_fire_code() -> None:
    # EN 1993-1-2:2005, clause 3.4.1.1 (1)
    rows = table("expansion_en1993_carbon_steel.csv")
    t = np.array([float(r["temperature_degC"]) for r in rows])
    published = np.array([float(r["carbon_steel_elongation_dl_over_l"]) for r in rows])
    assert len(rows) == 17
    np.testing.assert_allclose(expansion.carbon_steel_elongation(t), published, rtol=1e-12, atol=1e-18)
    means = [(float(r["temperature_degC"]), r["carbon_mean_coeff_20_to_T_1e-6_per_K"]) for r in rows]
    for at, mean in means[1:]:
        assert expansion.carbon_steel_mean_coefficient(at) == pytest.approx(float(mean) * 1e-6, rel=1e-12)


def test_steel_has_not_grown_at_twenty_degrees() -> None:
    # EN 1993-1-2:2005: the elongation counts from 20 C
    assert expansion.carbon_steel_elongation(20.0) == 0.0


@pytest.mark.parametrize("temperature_c", [19.9, 750.1, float("nan")])
def test_elongation_outside_the_codes_range_is_refused(temperature_c: float) -> None:
    with pytest.raises(InputError, match="outside 20 to 750 C"):
        expansion.carbon_steel_elongation(np.array([100.0, temperature_c]))


def test_default_barrel_coefficient_is_the_nitriding_steels() -> None:
    # data sheet of 31CrMoV9 (1.8519), 20 to 200 C
    rows = table("expansion_mean_coefficients.csv")
    (published,) = (
        float(r["mean_coeff_1e-6_per_K"])
        for r in rows
        if r["material"].startswith("Nitriding steel 31CrMoV9") and r["from_degC"] == "20" and r["to_degC"] == "200"
    )
    assert pytest.approx(published * 1e-6) == expansion.BARREL_EXPANSION_PER_K


def test_a_hundred_feet_of_steel_grow_as_the_boiler_code_tabulates() -> None:
    # ASME BPVC II-D (customary) 2010, table TE-1 group 1: C in inches per 100 ft, printed to 0.1, from B to 0.1e-6/F
    for row in table("expansion_asme_te1_group1.csv"):
        upper_c = (float(row["temperature_degF"]) - 32.0) / 1.8
        grown_mm = expansion.length_growth_mm(
            length_mm=30480.0,
            temperature_c=upper_c,
            reference_c=(70.0 - 32.0) / 1.8,
            expansion_per_k=float(row["B_mean_70F_to_T_1e-6_per_degF"]) * 1.8e-6,
        )
        half_digits_in = 0.05 + 0.05e-6 * 1200.0 * (float(row["temperature_degF"]) - 70.0)
        assert abs(grown_mm / 25.4 - float(row["C_linear_expansion_in_per_100ft"])) <= half_digits_in + 1e-9


def test_a_barrel_three_metres_long_grows_by_the_codes_elongation_of_carbon_steel() -> None:
    # EN 1993-1-2:2005: dl/l at 200 C is 2.3184e-3, so 3 m grow 6.955 mm
    grown = expansion.length_growth_mm(
        length_mm=3000.0,
        temperature_c=200.0,
        reference_c=20.0,
        expansion_per_k=float(expansion.carbon_steel_mean_coefficient(200.0)),
    )
    assert grown == pytest.approx(3000.0 * 2.3184e-3, rel=1e-12)
