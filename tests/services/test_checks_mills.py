"""Slips planted in copies of an invented mill are noticed where they stand, and little else is."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest
from record_sources import MILLS, NOW

from fleet.errors import FleetError
from fleet.services.importing import import_folder
from fleet.services.offsets import offset_rows
from fleet.services.rows import CheckNote, OffsetRow
from fleet.store.engine import Store

Rows = list[dict[str, str]]
StoreOf = Callable[..., Store]


@pytest.fixture
def altered(tmp_path: Path, store_of: StoreOf) -> Callable[..., list[OffsetRow]]:
    """A way to have the offsets of a mill with one of its files altered."""

    def alter(mill: str, sheet: str, change: Callable[[Rows], None], **which: str) -> list[OffsetRow]:
        folder = tmp_path / f"{mill}-altered"
        shutil.copytree(MILLS / mill, folder)
        path = folder / f"{sheet}.csv"
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            names, rows = list(reader.fieldnames or ()), list(reader)
        change(rows)
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, names)
            writer.writeheader()
            writer.writerows(rows)
        return offset_rows(store_of(folder), **which)

    return alter


def pick(rows: Rows, **key: str) -> dict[str, str]:
    (row,) = [row for row in rows if all(row[name] == value for name, value in key.items())]
    return row


def negative(text: str) -> str:
    return str(-Decimal(text))


def checks_of(rows: list[OffsetRow], session: str) -> list[tuple[str, CheckNote]]:
    return [(row.station, check) for row in rows if row.session == session for check in row.checks]


def offset(rows: list[OffsetRow], session: str, station: str) -> OffsetRow:
    return next(row for row in rows if (row.session, row.survey, row.station) == (session, 1, station))


def test_sound_surveys_raise_next_to_nothing(offsets: list[OffsetRow]) -> None:
    # At most 1 in 200 is what the checks promise; the mills hold some 730 surveys, simulated outside the project.
    surveys = {(row.session, row.survey) for row in offsets}
    told = {
        (row.session, row.survey)
        for row in offsets
        for check in row.checks
        if check.check not in ("calibration_expired", "still_warm")
    }
    most = 0.005 * len(surveys)
    assert len(surveys) > 700
    assert len(told) <= most + 3 * most**0.5


def test_a_turned_sign_is_named_with_what_the_bore_would_be(
    altered: Callable[..., list[OffsetRow]], offsets: list[OffsetRow]
) -> None:
    def turn(rows: Rows) -> None:
        row = pick(rows, session="A06-03", survey="1", sequence="1")
        assert row["station"] == "S1"
        assert abs(Decimal(row["h"])) >= 100
        row["h"] = negative(row["h"])

    rows = altered("mill-a", "readings", turn, line="A06")
    (at, check), *others = checks_of(rows, "A06-03")
    assert (at, check.check, check.axis, check.station, check.sequence) == ("S1", "sign_turned", "h", "S1", 1)
    sound = offset(offsets, "A06-03", "S1")
    assert check.would_be_um == pytest.approx(sound.h_um, abs=1.0)
    assert "h at station S1, reading 1" in check.evidence
    assert "Most likely the sign" in check.text
    assert not others


def test_a_whole_survey_with_a_sense_the_wrong_way_is_noticed_by_the_forecast(
    altered: Callable[..., list[OffsetRow]],
) -> None:
    sessions = [f"A{line:02}-04" for line in range(1, 25)]

    def turn(rows: Rows) -> None:
        for row in rows:
            if row["session"] in sessions and row["survey"] == "1":
                row["v"] = negative(row["v"])

    rows = altered("mill-a", "readings", turn)
    named = {
        session
        for session in sessions
        for _, check in checks_of(rows, session)
        if (check.check, check.axis, check.station) == ("sign_turned", "v", None)
    }
    # Offsets near nought, or of a line with little record behind it, look the same either way round.
    assert len(named) >= 6


def test_readings_typed_in_thou_that_were_in_um_are_noticed(altered: Callable[..., list[OffsetRow]]) -> None:
    def mistype(rows: Rows) -> None:
        row = pick(rows, session="A06-02", survey="1", sequence="5")
        assert row["unit"] == "um"
        row["unit"] = "thou"

    rows = altered("mill-a", "readings", mistype, line="A06")
    notes = {(check.check, check.station, check.sequence) for _, check in checks_of(rows, "A06-02")}
    assert notes == {("unit_mistyped", "S3", 5)}


def test_swapped_stations_of_an_entered_survey_stand_on_both_rows(altered: Callable[..., list[OffsetRow]]) -> None:
    def deepen(rows: Rows) -> None:
        for row in rows:
            row["v"], row["unit"] = ("0" if row["station"] == "S1" else "-900"), "um"
        ends = [row for row in rows if row["session"] == "B01-02" and row["survey"] == "1"]
        one, two = (next(row for row in ends if row["station"] == code) for code in ("S1", "S2"))
        one["v"], two["v"] = two["v"], one["v"]

    rows = altered("mill-b", "offsets", deepen, session="B01-02")
    noted = {(at, check.check) for at, check in checks_of(rows, "B01-02")}
    assert noted == {("S1", "stations_swapped"), ("S2", "stations_swapped")}


def test_a_lapsed_calibration_and_a_warm_barrel_stand_on_every_row_of_the_survey(offsets: list[OffsetRow]) -> None:
    # mill-c: I-12's last certificate ran to 4 June 2024; C03-09 was read with the barrel at 90 C over 20 C.
    lapsed = [row for row in offsets if row.session == "C01-13"]
    assert lapsed
    for row in lapsed:
        (check,) = row.checks
        assert (check.check, check.station, check.axis) == ("calibration_expired", None, None)
        assert "held until 4 Jun 2024; this survey is of 21 Sep 2026" in check.evidence
    warm = [row for row in offsets if (row.session, row.survey) == ("C03-09", 1)]
    assert warm
    assert all("70 K above the cold reference" in check.evidence for row in warm for check in row.checks)
    assert all(len(row.checks) == 1 for row in warm)


def test_an_instrument_without_any_calibration_is_a_remark_and_no_check(offsets: list[OffsetRow]) -> None:
    remarked = [row for row in offsets if any("no calibration of" in remark for remark in row.remarks)]
    assert remarked
    assert all(check.check != "calibration_expired" for row in remarked for check in row.checks)


def test_a_support_that_does_not_answer_is_named(altered: Callable[..., list[OffsetRow]]) -> None:
    # The bore at U2 was read 0.076 mm (3 thou) higher after a move of 3 thou; written as 30 thou it did not follow.
    def exaggerate(rows: Rows) -> None:
        row = pick(rows, session="C01-01", after_survey="1", support="U2")
        assert (row["v"], row["unit"]) == ("3.0", "thou")
        row["v"] = "30.0"

    rows = altered("mill-c", "moves", exaggerate, session="C01-01")
    told = [(at, check) for at, check in checks_of(rows, "C01-01") if check.check == "support_not_answering"]
    assert told
    assert {(check.axis, at) for at, check in told} <= {("v", "P1"), ("v", "P2"), ("v", "P3")}
    assert any(check.axis == "v" for _, check in told)


def test_the_budget_of_an_offset_adds_up_to_its_uncertainty(offsets: list[OffsetRow]) -> None:
    for row in offsets:
        v = sum(part.u_v_um**2 for part in row.budget) ** 0.5
        h = sum(part.u_h_um**2 for part in row.budget) ** 0.5
        assert v == pytest.approx(row.u_v_cold_um, rel=1e-3)
        assert h == pytest.approx(row.u_h_cold_um, rel=1e-3)


def test_readings_that_are_all_the_same_and_a_single_one_come_with_a_sentence(
    altered: Callable[..., list[OffsetRow]],
) -> None:
    def flatten(rows: Rows) -> None:
        for row in rows:
            if row["session"] == "A06-02" and row["survey"] == "1":
                row["v"], row["h"], row["unit"] = "40", "-20", "um"
        alone = [row for row in rows if (row["session"], row["survey"]) == ("A06-03", "1")]
        for row in alone[1:]:
            rows.remove(row)

    rows = altered("mill-a", "readings", flatten, line="A06")
    equal, single = (next(r for r in rows if (r.session, r.survey) == (s, 1)) for s in ("A06-02", "A06-03"))
    assert "all 8 readings are the same: see that the instrument followed the beam before you trust them" in (
        equal.remarks
    )
    assert any(remark.startswith("no reversal at S1: the beam's own error there") for remark in single.remarks)
    # One reading cannot tell the bore from a beam that may be 0.2 mm off.
    assert single.u_v_um > 200.0


@pytest.mark.parametrize(
    ("value", "said"),
    [("nan", "'nan'"), ("1e12", "'1e12'"), ("1000000000000", "'1000000000000' um is beyond 50 mm")],
)
def test_values_that_are_no_readings_are_refused_with_a_sentence_and_nothing_is_stored(
    tmp_path: Path, store_of: StoreOf, value: str, said: str
) -> None:
    folder = tmp_path / "spoilt"
    shutil.copytree(MILLS / "mill-a", folder)
    path = folder / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    cells = lines[7].split(",")
    lines[7] = ",".join([*cells[:7], value, *cells[8:]])
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    store = store_of()
    with pytest.raises(FleetError) as refused:
        import_folder(store, folder, who="tester", now=NOW)
    assert f"readings.csv row 8, column v: {said}" in str(refused.value)
    assert offset_rows(store) == []
