"""Running checks, hour meter, events and wear typed beside a visit go through the gate of every import."""

from __future__ import annotations

import pytest
from record_sources import NOW
from sqlalchemy import text

from fleet.errors import InputError
from fleet.services.entering import EnteringError, enter
from fleet.store.engine import Store

CHECK = {
    "line": "C01", "checked_at": "2026-10-31T10:00", "station": "P2", "v_rise": "0,112", "unit": "mm",
    "barrel_c": "190", "technician": "'=Kim +1",
}  # fmt: skip


def test_a_running_check_is_stored_as_typed_once(own_lines: Store) -> None:
    look = enter(own_lines, "running_checks", [CHECK], who="Kim", now=NOW, dry_run=True)
    assert look.sentences == ("1 running check would be stored.",)
    done = enter(own_lines, "running_checks", [CHECK], who="Kim", now=NOW)
    assert (done.rows, done.sentences, done.lines) == (1, ("1 running check stored.",), ("C01",))
    again = enter(own_lines, "running_checks", [CHECK], who="Kim", now=NOW)
    assert (again.rows, again.nothing_new) == (0, True)
    query = "select v_rise_entered, v_rise_um, technician from running_check order by id desc limit 1"
    with own_lines.read() as record:
        assert tuple(record.execute(text(query)).one()) == ("0.112", 112.0, "'=Kim +1")
        proof = record.execute(text("select who, what from audit order by id desc limit 1")).one()
    assert tuple(proof) == ("Kim (not verified)", "took a source in")


@pytest.mark.parametrize(
    ("sheet", "row", "said"),
    [
        ("meters", {"line": "C01", "read_at": "2026-10-31T10:00", "running_hours": "44500"},
         "1 reading of the hour meter stored."),
        ("events", {"line": "C01", "happened_at": "2026-10-31T10:00", "kind": "struck", "note": "by the crane"},
         "1 event stored."),
        ("wear", {"asset_kind": "barrel", "asset": "B-C01", "measured_at": "2026-10-31", "distance_mm": "400",
                  "diameter_v": "90.05", "unit": "mm"}, "1 measured diameter stored."),
    ],
)  # fmt: skip
def test_meter_event_and_wear_are_stored(own_lines: Store, sheet: str, row: dict[str, str], said: str) -> None:
    assert enter(own_lines, sheet, [row], who="Kim", now=NOW).sentences[0] == said


def test_what_is_wrong_is_said_by_column_and_nothing_is_stored(own_lines: Store) -> None:
    with pytest.raises(EnteringError) as told:
        enter(own_lines, "running_checks", [{**CHECK, "station": "P9", "v_rise": "x"}], who="Kim", now=NOW)
    assert told.value.problems == (
        "column v_rise: 'x' is not a number; write digits, with a decimal point where needed",
        "column station: there is no station 'P9' on line 'C01'; add it to stations or correct the code",
    )
    bad = {**CHECK, "station": "P3", "barrel_c": "900"}
    with pytest.raises(EnteringError, match="row 2, column barrel_c: '900' is out of range"):
        enter(own_lines, "running_checks", [CHECK, bad], who="Kim", now=NOW)
    with own_lines.read() as record:
        found = "select count(*) from running_check where v_rise_entered = '0.112'"
        assert record.execute(text(found)).scalar_one() == 0


@pytest.mark.parametrize(
    ("sheet", "row", "who", "said"),
    [
        ("meters", {}, "Kim", "Nothing was typed, so nothing was stored."),
        ("meters", {"line": "C01"}, "", "The record keeps who wrote in it; type your name."),
        ("sessions", {"line": "C01"}, "Kim", "'sessions' is not entered here; what is: running_checks, "
         "support_temperatures, meters, events, wear."),
        ("meters", {"hours": "5"}, "Kim", "'hours' is no column of meters; the columns are line, read_at, "
         "running_hours, starts."),
    ],
)  # fmt: skip
def test_what_cannot_be_entered_says_why(
    own_lines: Store, sheet: str, row: dict[str, str], who: str, said: str
) -> None:
    with pytest.raises(InputError) as told:
        enter(own_lines, sheet, [row], who=who, now=NOW)
    assert str(told.value) == said
