"""What is typed at a visit is kept as text, whatever order it comes in and however often it is sent.

The rules are the project's own: a device's later keystroke wins over its earlier one, another device's wins if it was
typed later, and nothing sent again changes anything.
"""

from __future__ import annotations

import json
import random
from datetime import datetime, timedelta

import pytest
from record_rows import NOON, Ids, fill
from sqlalchemy import inspect, select, text
from sqlalchemy.exc import IntegrityError

from fleet.store import AuditEntry, Draft, DraftEntry, StaleDraftError, queries, schema
from fleet.store.drafts import Typing, close_draft, create_draft, discard_draft, keep_entries
from fleet.store.engine import Store
from fleet.store.versions import data_version

KEY = "5f1c-own"
BEFORE = "e7402b9fd651"
"""The revision before there were drafts."""


@pytest.fixture
def ids(store: Store) -> Ids:
    return fill(store)


def typed(field: str, value: str, sequence: int, second: int) -> Typing:
    return Typing(field, value, NOON + timedelta(seconds=second), sequence)


def begin(store: Store, ids: Ids, *entries: Typing) -> bool:
    with store.write() as session:
        return create_draft(
            session, client_key=KEY, line_id=ids.line, line="A01", corrects_id=None, who="kim (not verified)",
            at=NOON, device="server", entries=entries,
        )  # fmt: skip


def send(store: Store, *entries: Typing, device: str = "phone", at: datetime = NOON) -> int | None:
    with store.write() as session:
        return keep_entries(session, KEY, entries, device=device, at=at)


def texts(store: Store) -> dict[str, str]:
    with store.read() as session:
        (draft,) = queries.drafts(session, client_key=KEY)
        return {row.field: row.value for row in queries.draft_entries(session, draft.id)}


def test_a_draft_begins_once_and_touches_no_version_of_the_facts(store: Store, ids: Ids) -> None:
    with store.read() as session:
        stood = data_version(session)
    assert begin(store, ids, typed("unit", "mm", 0, 0)) is True
    assert begin(store, ids, typed("unit", "thou", 0, 0)) is False
    assert send(store, typed("p1.s.S1.0.v", "−0,0470 ?", 1, 1)) == 2
    assert texts(store) == {"unit": "mm", "p1.s.S1.0.v": "−0,0470 ?"}
    with store.read() as session:
        assert data_version(session) == stood
        said = session.scalars(select(AuditEntry.what).where(AuditEntry.who == "kim (not verified)")).all()
        (row,) = queries.drafts(session, client_key=KEY)
    assert said == ["began a visit of line 'A01'"]
    assert (row.line, row.created_by, row.version, row.entries) == ("A01", "kim (not verified)", 2, 2)


def test_what_is_sent_again_or_too_late_changes_nothing(store: Store, ids: Ids) -> None:
    begin(store, ids)
    assert send(store, typed("a", "1", 5, 5), typed("b", "2", 6, 6)) == 2
    assert send(store, typed("a", "1", 5, 5), typed("b", "2", 6, 6)) == 2
    assert send(store, typed("a", "0", 4, 4)) == 2
    assert texts(store) == {"a": "1", "b": "2"}


@pytest.mark.parametrize("seed", range(4))
def test_keystrokes_of_one_device_end_alike_in_any_order(store: Store, ids: Ids, seed: int) -> None:
    begin(store, ids)
    entries = [typed("a", "0.0", 1, 1), typed("a", "0.04", 2, 2), typed("a", "0.047", 3, 3), typed("b", "-", 4, 4)]
    order = random.Random(seed).sample(entries, len(entries))
    for entry in (*order, *order):
        send(store, entry)
    assert texts(store) == {"a": "0.047", "b": "-"}


def test_of_two_devices_the_one_typed_later_stands(store: Store, ids: Ids) -> None:
    begin(store, ids)
    send(store, typed("a", "phone", 40, 10), device="phone")
    # The tablet has counted fewer keystrokes; what counts between devices is when.
    send(store, typed("a", "tablet before", 1, 9), device="tablet")
    assert texts(store) == {"a": "phone"}
    send(store, typed("a", "tablet after", 2, 11), device="tablet")
    assert texts(store) == {"a": "tablet after"}
    send(store, typed("a", "phone", 40, 10), device="phone")
    assert texts(store) == {"a": "tablet after"}


def test_a_device_whose_clock_is_slow_types_over_what_the_draft_began_with(store: Store, ids: Ids) -> None:
    begin(store, ids, typed("reason", "planned", 0, 0))
    send(store, typed("reason", "vibration", 1, -300))
    assert texts(store) == {"reason": "vibration"}


def test_a_draft_is_closed_only_as_it_was_seen(store: Store, ids: Ids) -> None:
    begin(store, ids)
    version = send(store, typed("a", "1", 1, 1))
    assert version == 2
    with pytest.raises(StaleDraftError, match="Something was typed into this visit"), store.write() as session:
        close_draft(session, KEY, version=1)
    assert texts(store) == {"a": "1"}
    with store.write() as session:
        close_draft(session, KEY, version=2)
    with store.read() as session:
        assert session.scalars(select(Draft.id).where(Draft.client_key == KEY)).all() == []
        assert session.scalars(select(DraftEntry.id).where(DraftEntry.field == "a")).all() == []
    assert send(store, typed("a", "2", 2, 2)) is None


def test_what_was_discarded_stands_in_the_audit(store: Store, ids: Ids) -> None:
    begin(store, ids)
    send(store, typed("a", "0.047", 1, 1))
    with store.write() as session:
        assert discard_draft(session, KEY, line="A01", who="kim", at=NOON) is True
        assert discard_draft(session, KEY, line="A01", who="kim", at=NOON) is False
    with store.read() as session:
        entry = session.scalars(select(AuditEntry).order_by(AuditEntry.id.desc())).first()
    assert entry is not None
    assert entry.what == "discarded the draft of a visit of line 'A01'"
    assert json.loads(entry.before or "") == {"draft": KEY, "line": "A01", "typed": {"a": "0.047"}}


@pytest.mark.parametrize(
    ("statement", "constraint"),
    [
        ("insert into draft_entry (draft_id, field, value, typed_at, device, sequence)"
         " select draft_id, field, value, typed_at, device, 2 from draft_entry", "draft_entry"),
        ("update draft_entry set sequence = -1", "ck_draft_entry_sequence_not_negative"),
        ("update session_check set why = ' ' where id = 2", "ck_session_check_why_given"),
        ("update session_check set settled = 'perhaps' where id = 2", "ck_session_check_settled_known"),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("ids")
def test_the_database_refuses_what_is_no_draft_and_no_settlement(store: Store, statement: str, constraint: str) -> None:
    with pytest.raises(IntegrityError, match=constraint), store.write() as session:
        session.execute(text(statement))


def test_going_back_before_drafts_and_up_again_keeps_everything_else(own_store: Store) -> None:
    ids = fill(own_store)
    begin(own_store, ids)
    schema.downgrade(own_store.engine, BEFORE)
    tables = set(inspect(own_store.engine).get_table_names())
    assert not tables & {"draft", "draft_entry", "session_check", "session_signed_view"}
    schema.upgrade(own_store.engine)
    with own_store.read() as session:
        assert session.execute(text("select count(*) from session")).scalar_one() == 2
        assert session.execute(text("select count(*) from draft")).scalar_one() == 0
    assert schema.check(own_store.engine) == []
