"""A fact is taken back and comes back; a source nothing was taken of is listed too. Rules are the project's own."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from record_rows import NOON, Ids, fill
from sqlalchemy import select, text

from fleet.errors import InputError, NotFoundError
from fleet.store import (
    AuditEntry,
    Base,
    Event,
    Intake,
    Meter,
    Proposal,
    RunningCheck,
    Station,
    SupportTemperature,
    schema,
)
from fleet.store.engine import Store
from fleet.store.noting import CameIn, note_source
from fleet.store.queries import proof
from fleet.store.versions import data_version
from fleet.store.withdraw import MODELS, goes_with, record_anew, withdraw

LATER = NOON + timedelta(days=3)
KINDS = {
    "running-checks": "running_check",
    "meters": "meter",
    "tolerances": "tolerance",
    "events": "event",
    "wear": "wear",
}


@pytest.fixture
def ids(store: Store) -> Ids:
    return fill(store)


def taken_back(store: Store, kind: str, number: int, why: str = "read off the wrong line") -> None:
    with store.write() as session:
        withdraw(session, kind, number, who="kim (not verified)", at=LATER, why=why)


def brought_back(store: Store, kind: str, number: int) -> int:
    with store.write() as session:
        return record_anew(session, kind, number, who="ann (not verified)", at=LATER, why="it was right after all")


def newest(store: Store) -> AuditEntry:
    with store.read() as session:
        return session.scalars(select(AuditEntry).order_by(AuditEntry.id.desc()).limit(1)).one()


def content(row: Base) -> dict[str, object]:
    gone = {"id", "withdrawn_at", "withdrawn_by", "withdrawn_why"}
    return {c.name: getattr(row, c.name) for c in row.__table__.columns if c.name not in gone}


@pytest.mark.parametrize("kind", KINDS)
def test_a_withdrawn_fact_comes_back_as_a_row_of_its_own_with_the_same_content(
    store: Store, ids: Ids, kind: str
) -> None:
    number = ids.run[KINDS[kind]]
    with store.read() as session:
        stood, version = content(session.get_one(MODELS[kind], number)), data_version(session)
    taken_back(store, kind, number)
    fresh = brought_back(store, kind, number)
    assert fresh != number
    with store.read() as session:
        old, new = session.get_one(MODELS[kind], number), session.get_one(MODELS[kind], fresh)
        assert (old.withdrawn_by, old.withdrawn_at, old.withdrawn_why) == (
            "kim (not verified)", LATER, "read off the wrong line",
        )  # fmt: skip
        assert content(new) == stood
        assert new.withdrawn_at is None
        assert data_version(session) == version + 2
        assert proof.withdrawn_counts(session)[kind] == (1, 1)


def test_the_audit_holds_what_was_withdrawn_by_whom_and_why(store: Store, ids: Ids) -> None:
    taken_back(store, "meters", ids.run["meter"])
    entry = newest(store)
    assert (entry.who, entry.what, entry.at) == ("kim (not verified)", "withdrew a meter reading", LATER)
    assert json.loads(entry.before or "") == {
        "line": "A01", "read_at": "2024-03-04T12:00:00+00:00", "running_hours": 20388.0,
    }  # fmt: skip
    assert json.loads(entry.after or "") == {"why": "read off the wrong line"}
    brought_back(store, "meters", ids.run["meter"])
    entry = newest(store)
    assert (entry.who, entry.what) == ("ann (not verified)", "recorded a meter reading anew")
    assert json.loads(entry.after or "")["why"] == "it was right after all"


def test_a_fact_is_withdrawn_once_and_is_not_brought_back_beside_another(store: Store, ids: Ids) -> None:
    number = ids.run["meter"]
    with pytest.raises(InputError, match="This was not withdrawn"):
        brought_back(store, "meters", number)
    taken_back(store, "meters", number)
    with pytest.raises(InputError, match=r"withdrawn already by kim \(not verified\): read off the wrong line"):
        taken_back(store, "meters", number)
    with store.write() as session:
        session.add(Meter(line_id=ids.line, read_at=NOON, running_hours=20_399.0))
    with pytest.raises(InputError, match="Another entry stands in its place"):
        brought_back(store, "meters", number)
    with pytest.raises(NotFoundError, match="no meters entry 999"):
        taken_back(store, "meters", 999)
    with pytest.raises(NotFoundError, match="no barrels entry 1"):
        taken_back(store, "barrels", 1)


def test_supports_temperatures_go_with_the_last_check_of_their_run_and_come_back_with_it(
    store: Store, ids: Ids
) -> None:
    with store.write() as session:
        second = RunningCheck(
            line_id=ids.line, checked_at=NOON, station_id=ids.station, v_rise_entered="1", unit="um", v_rise_um=1.0,
            withdrawn_at=NOON, withdrawn_by="kim", withdrawn_why="other",
        )  # fmt: skip
        session.add(second)
    number, temperature = ids.run["running_check"], ids.run["support_temperature"]
    with store.read() as session:
        assert goes_with(session, "running-checks", number).temperatures == 1
    taken_back(store, "running-checks", number)
    assert json.loads(newest(store).after or "")["support_temperatures"] == 1
    with store.read() as session:
        assert session.get_one(SupportTemperature, temperature).withdrawn_at == LATER
    brought_back(store, "running-checks", number)
    with store.read() as session:
        standing = session.scalars(
            select(SupportTemperature).where(
                SupportTemperature.line_id == ids.line, SupportTemperature.withdrawn_at.is_(None)
            )
        ).all()
        assert [(row.support_id, row.barrel_c) for row in standing] == [(ids.support, 190.0)]


def test_temperatures_stay_while_another_check_of_the_run_stands(store: Store, ids: Ids) -> None:
    with store.write() as session:
        other = Station(line_id=ids.line, code="S2", distance_mm=2600.0)
        session.add(other)
        session.flush()
        session.add(
            RunningCheck(
                line_id=ids.line, checked_at=NOON, station_id=other.id, v_rise_entered="1", unit="um", v_rise_um=1.0
            )
        )
    taken_back(store, "running-checks", ids.run["running_check"])
    with store.read() as session:
        assert session.get_one(SupportTemperature, ids.run["support_temperature"]).withdrawn_at is None


def test_an_event_tells_of_the_decision_that_made_it(store: Store, ids: Ids) -> None:
    with store.write() as session:
        event = Event(line_id=ids.line, happened_at=LATER, kind="drift changed", resets_trend=True)
        session.add(event)
        session.flush()
        session.add(
            Proposal(
                line_id=ids.line, axis="v", kind="regime_change", after_session_id=ids.signed["session"],
                evidence=4.0, said="more", decision="accepted", decided_by="kim", decided_at=NOON, why="known",
                event_id=event.id,
            )
        )  # fmt: skip
        number = event.id
    with store.read() as session:
        assert goes_with(session, "events", number).decisions == 1
        assert goes_with(session, "events", ids.run["event"]).decisions == 0


def test_a_finding_of_a_signed_visit_goes_but_does_not_come_back_alone(store: Store, ids: Ids) -> None:
    taken_back(store, "findings", ids.signed["finding"])
    before = json.loads(newest(store).before or "")
    assert (before["line"], before["session"], before["item"]) == ("A01", "A01-01", "soft foot 1")
    with pytest.raises(InputError, match="belongs to its signed visit"):
        brought_back(store, "findings", ids.signed["finding"])
    with pytest.raises(InputError, match="a visit that is not signed yet"):
        taken_back(store, "findings", ids.draft["finding"])


def test_a_refused_source_stands_in_the_list_once_and_in_the_audit(store: Store, ids: Ids) -> None:
    assert ids.line
    came = CameIn("readings-week-47", "ab" * 32, "folder", 5, 1206)
    bad = {"problems": [{"file": "readings.csv", "row": 41}]}

    def note(result: str) -> int:
        with store.write() as session:
            return note_source(session, came, result=result, who="kim", at=LATER, rows_refused=3, told=bad)  # type: ignore[arg-type]

    with store.read() as session:
        version = data_version(session)
    first = note("refused")
    assert note("refused") == first
    assert note("nothing_new") != first
    with store.read() as session:
        row = session.get_one(Intake, first)
        assert (row.result, row.rows_taken, row.rows_refused, row.rows_read) == ("refused", 0, 3, 1206)
        assert json.loads(row.told) == bad
        # The row that `fill` made is of before sources told what they are: it was a file.
        listed = proof.sources(session, proof.Asked(), limit=10)
        assert [each.result for each in listed] == ["nothing_new", "refused", "taken"]
        assert data_version(session) == version
        whats = session.scalars(select(AuditEntry.what).where(AuditEntry.at == LATER).order_by(AuditEntry.id)).all()
    assert whats == ["refused a source", "found nothing new in a source"]


def test_going_back_to_before_sources_were_listed_drops_those_nothing_was_taken_of(own_store: Store) -> None:
    fill(own_store)
    with own_store.write() as session:
        came = CameIn("a.xlsx", "ab" * 32, "workbook", 1, 1)
        note_source(session, came, result="refused", who="kim", at=NOON)
    schema.downgrade(own_store.engine, "c1f7a90b6d25")
    with own_store.engine.connect() as connection:
        assert connection.execute(text("select file_name from intake")).scalars().all() == ["mill.xlsx"]
    schema.upgrade(own_store.engine)
    with own_store.read() as session:
        (row,) = session.scalars(select(Intake)).all()
        assert (row.result, row.container, row.told) == ("taken", None, "{}")


@pytest.mark.parametrize(
    ("asked", "whats"),
    [
        (proof.Asked(line="A01"), ["withdrew a meter reading"]),
        (proof.Asked(line="A0"), []),
        (proof.Asked(what="withdrawals"), ["withdrew a meter reading"]),
        (proof.Asked(what="other"), ["took in mill.xlsx"]),
        (proof.Asked(who="kim"), ["took in mill.xlsx"]),
        (proof.Asked(since=LATER), ["withdrew a meter reading"]),
        (proof.Asked(until=LATER), ["took in mill.xlsx"]),
    ],
)
def test_the_audit_is_asked_by_line_person_kind_and_time(
    store: Store, ids: Ids, asked: proof.Asked, whats: list[str]
) -> None:
    taken_back(store, "meters", ids.run["meter"])
    with store.read() as session:
        assert [row.what for row in proof.audit_entries(session, asked)] == whats
        assert proof.audit_count(session, asked) == len(whats)
