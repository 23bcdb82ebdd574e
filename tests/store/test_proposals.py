"""A decision on a proposal is kept with the event it makes and the audit, or not at all.

The rules are the project's own, from its design of the record.
"""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from record_rows import NOON, Ids, fill
from sqlalchemy import insert, inspect, select, text
from sqlalchemy.exc import IntegrityError

from fleet.store import AuditEntry, Event, Proposal, StoreError, queries, schema
from fleet.store.deciding import DRIFT_CHANGED, Decided, accept_change, refuse_change
from fleet.store.engine import Store
from fleet.store.versions import data_version

BEFORE = "b3e94d0c5a18"
"""The revision before there were proposals."""


@pytest.fixture
def ids(store: Store) -> Ids:
    return fill(store)


def decided(ids: Ids, **changed: Any) -> Decided:
    values: dict[str, Any] = {
        "line_id": ids.line, "station_id": None, "axis": "v", "after_session_id": ids.signed["session"],
        "evidence": 6.5, "said": "from then on lower by 95 um a year", "handle": "A01:v:A01-01", "who": "kim",
        "at": NOON, "why": "flange re-torqued, Östanå 🔧",
    }  # fmt: skip
    return Decided(**{**values, **changed})


def version(store: Store) -> int:
    with store.read() as session:
        return data_version(session)


def test_accepting_records_an_event_that_resets_the_trend_and_raises_the_facts(store: Store, ids: Ids) -> None:
    stood, moment = version(store), NOON + timedelta(minutes=1)
    with store.write() as session:
        accept_change(session, decided(ids), happened_at=moment, seen_version=stood)
    assert version(store) == stood + 1
    with store.read() as session:
        event = session.scalars(select(Event).where(Event.kind == DRIFT_CHANGED)).one()
        kept = session.scalars(select(Proposal).where(Proposal.decision == "accepted")).one()
        told = session.scalars(select(AuditEntry).order_by(AuditEntry.id)).all()[-2:]
    assert (event.line_id, event.station_id, event.happened_at) == (ids.line, None, moment)
    assert (event.resets_trend, event.note) == (True, "flange re-torqued, Östanå 🔧")
    assert (kept.event_id, kept.evidence, kept.decided_by, kept.why) == (event.id, 6.5, "kim", event.note)
    assert [(entry.who, entry.at) for entry in told] == [("kim", NOON)] * 2
    assert [entry.what for entry in told] == [
        "recorded the event 'drift changed' for A01:v:A01-01",
        "accepted the change of drift A01:v:A01-01",
    ]
    assert json.loads(told[0].after or "")["happened_at"] == moment.isoformat()


def test_nothing_is_kept_where_the_facts_changed_since_the_proposal_was_worked_out(store: Store, ids: Ids) -> None:
    def rows() -> list[int]:
        with store.read() as session:
            return [len(session.scalars(select(model.id)).all()) for model in (Event, Proposal, AuditEntry)]

    before, stood = rows(), version(store)
    with pytest.raises(StoreError, match="The record changed while this was being decided"), store.write() as session:
        accept_change(session, decided(ids), happened_at=NOON, seen_version=stood - 1)
    assert (rows(), version(store)) == (before, stood)


def test_refusing_keeps_the_decision_and_its_audit_and_touches_no_fact(store: Store, ids: Ids) -> None:
    stood = version(store)
    with store.write() as session:
        refuse_change(session, decided(ids, station_id=ids.station, axis="h"))
    assert version(store) == stood
    with store.read() as session:
        assert session.scalars(select(Event).where(Event.kind == DRIFT_CHANGED)).all() == []
        last = queries.decisions(session)[-1]
        entry = session.scalars(select(AuditEntry).order_by(AuditEntry.id.desc())).first()
    assert (last.line, last.station, last.axis, last.decision, last.after_session) == (
        "A01", "S1", "h", "refused", "A01-01",
    )  # fmt: skip
    assert entry is not None
    assert entry.what == "refused the change of drift A01:v:A01-01"


def test_a_decision_whose_event_was_withdrawn_counts_no_longer(store: Store, ids: Ids) -> None:
    with store.write() as session:
        accept_change(session, decided(ids), happened_at=NOON, seen_version=version(store))
    with store.read() as session:
        assert [row.decision for row in queries.decisions(session)] == ["refused", "accepted"]
    with store.write() as session:
        event = session.scalars(select(Event).where(Event.kind == DRIFT_CHANGED)).one()
        event.withdrawn_at, event.withdrawn_by, event.withdrawn_why = NOON, "kim", "it was another line"
    with store.read() as session:
        assert [row.decision for row in queries.decisions(session)] == ["refused"]


@pytest.mark.parametrize(
    ("changed", "constraint"),
    [
        ({"axis": "x"}, "ck_proposal_axis_known"),
        ({"kind": "something else"}, "ck_proposal_kind_known"),
        ({"decision": "perhaps"}, "ck_proposal_decision_known"),
        ({"why": "  "}, "ck_proposal_why_given"),
        ({"decision": "accepted"}, "ck_proposal_accepted_made_an_event"),
    ],
)
def test_the_database_refuses_a_decision_that_is_none(
    store: Store, ids: Ids, changed: dict[str, str], constraint: str
) -> None:
    row = {
        "line_id": ids.line, "axis": "v", "kind": "regime_change", "after_session_id": ids.signed["session"],
        "evidence": 5.0, "said": "so", "decision": "refused", "decided_by": "kim", "decided_at": NOON, "why": "known",
    }  # fmt: skip
    with pytest.raises(IntegrityError, match=constraint), store.write() as session:
        session.execute(insert(Proposal), [{**row, **changed}])


def test_going_back_before_proposals_and_up_again_keeps_everything_else(own_store: Store) -> None:
    ids = fill(own_store)
    with own_store.write() as session:
        accept_change(session, decided(ids), happened_at=NOON, seen_version=version(own_store))
    schema.downgrade(own_store.engine, BEFORE)
    assert "proposal" not in inspect(own_store.engine).get_table_names()
    schema.upgrade(own_store.engine)
    assert schema.check(own_store.engine) == []
    with own_store.read() as session:
        assert session.execute(text("select count(*) from proposal")).scalar_one() == 0
        # The event is a fact of its own and stays.
        assert session.scalars(select(Event.kind).order_by(Event.id)).all() == ["struck", DRIFT_CHANGED]
