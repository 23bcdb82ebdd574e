"""Calendar feeds in the record, alike on both engines; the rule of the newest plan is the project's own."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from record_rows import NOON, fill, hang_plan
from sqlalchemy import select, update
from sqlalchemy.exc import IntegrityError

from fleet.store import CalendarFeed, KeptPlan, Outage, StoreError
from fleet.store.engine import Store
from fleet.store.feeds import add_feed, end_feed, feed_of, feeds, token_hash, visits_signed_off


def sign(store: Store, code: str, days: int) -> None:
    with store.write() as transaction:
        signed = {"state": "signed_off", "signed_by": "J. Quillam", "signed_at": NOON + timedelta(days=days)}
        transaction.execute(update(KeptPlan).where(KeptPlan.code == code).values(**signed))


def test_a_hash_is_the_published_one() -> None:
    # NIST, SHA-256 of "abc" (FIPS 180-4, example).
    assert token_hash("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_feed_is_found_by_its_secret_until_it_is_ended(own_store: Store) -> None:
    with own_store.write() as transaction:
        number = add_feed(transaction, name="office", site=None, token="s" * 43, who="J. Quillam", at=NOON)
    with own_store.read() as record:
        found = feed_of(record, "s" * 43)
        assert found is not None
        assert (found.id, found.name, found.site) == (number, "office", None)
        assert feed_of(record, "s" * 42) is None
        assert {row.name for row in feeds(record)} == {"office"}
        assert record.scalar(select(CalendarFeed.token_sha256).where(CalendarFeed.id == number)) == token_hash("s" * 43)
    with own_store.write() as transaction:
        assert end_feed(transaction, number, who="M. Adeyrin", at=NOON) == "office"
    with own_store.read() as record:
        assert feed_of(record, "s" * 43) is None
        assert feeds(record) == []
    with pytest.raises(StoreError, match=r"was ended already, by M\. Adeyrin"), own_store.write() as transaction:
        end_feed(transaction, number, who="J. Quillam", at=NOON)


def test_no_two_feeds_have_one_secret_and_half_an_end_is_refused(own_store: Store) -> None:
    given = {"name": "office", "site": None, "token": "s" * 43, "who": "J. Quillam", "at": NOON}
    with own_store.write() as transaction:
        add_feed(transaction, **given)  # type: ignore[arg-type]
    with pytest.raises(IntegrityError), own_store.write() as transaction:
        add_feed(transaction, **given)  # type: ignore[arg-type]
    with pytest.raises(IntegrityError), own_store.write() as transaction:
        transaction.execute(update(CalendarFeed).values(ended_by="J. Quillam"))


def test_a_lines_visit_is_that_of_the_newest_plan_signed_off(own_store: Store) -> None:
    ids = fill(own_store)
    with own_store.write() as transaction:
        first = transaction.scalar(select(Outage.id))
        assert first is not None
        second = Outage(code="LATER", starts_at=NOON + timedelta(days=400))
        transaction.add(second)
        transaction.flush()
        (old,) = transaction.scalars(select(KeptPlan.code))
        transaction.execute(update(KeptPlan).values(code="OLD"))
        hang_plan(transaction, line=ids.line, outage=second.id, day=date(2024, 3, 5))
        transaction.execute(update(KeptPlan).where(KeptPlan.code == old).values(code="NEW"))
    with own_store.read() as record:
        assert visits_signed_off(record, None) == []
    sign(own_store, "OLD", 0)
    with own_store.read() as record:
        assert [row.plan for row in visits_signed_off(record, None)] == ["OLD"]
    sign(own_store, "NEW", 1)
    with own_store.read() as record:
        assert [(row.plan, row.outage) for row in visits_signed_off(record, None)] == [("NEW", "LATER")]
        assert visits_signed_off(record, "NOWHERE") == []
    sign(own_store, "OLD", 2)
    with own_store.read() as record:
        assert [row.plan for row in visits_signed_off(record, None)] == ["OLD"]
