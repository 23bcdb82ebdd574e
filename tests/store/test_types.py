"""Moments stay aware UTC and numbers stay numbers on both engines."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from record_rows import add, fill
from sqlalchemy import Integer, bindparam, func, insert, select, text, type_coerce

from fleet.store import Intake, Line, NaiveTimeError, Reading, VisitSession
from fleet.store.engine import Store
from fleet.store.types import Base, UtcDateTime


def test_moment_comes_back_aware_and_in_utc(store: Store) -> None:
    # Central European summer time is two hours ahead of UTC (EU Directive 2000/84/EC and the zone's base of +1 h).
    written = datetime(2026, 7, 1, 14, 30, 15, 250_000, tzinfo=ZoneInfo("Europe/Berlin"))
    with store.write() as session:
        add(session, Intake(file_name="a", sha256="0", taken_at=written, taken_by="kim", rows_taken=0))
    with store.read() as session:
        found = session.scalars(select(Intake.taken_at)).one()
    assert found == datetime(2026, 7, 1, 12, 30, 15, 250_000, tzinfo=UTC)
    assert found.utcoffset() == timedelta(0)


def test_both_sides_of_an_hour_that_a_clock_change_repeats_stay_apart_and_in_order(store: Store) -> None:
    # On 25 October 2026 clocks go from 03:00 CEST to 02:00 CET (last Sunday of October, 01:00 UTC; same directive).
    zone = ZoneInfo("Europe/Berlin")
    first, second = (datetime(2026, 10, 25, 2, 30, tzinfo=zone, fold=fold) for fold in (0, 1))
    with store.write() as session:
        for name, moment in (("late", second), ("early", first)):
            add(session, Intake(file_name=name, sha256="0", taken_at=moment, taken_by="kim", rows_taken=0))
    with store.read() as session:
        rows = session.execute(select(Intake.file_name, Intake.taken_at).order_by(Intake.taken_at)).all()
    assert [row[0] for row in rows] == ["early", "late"]
    assert rows[1][1] - rows[0][1] == timedelta(hours=1)


def test_moment_without_zone_is_refused_with_the_remedy(store: Store) -> None:
    naive = datetime(2026, 7, 1, 14, 30)  # noqa: DTZ001 - what is refused
    with pytest.raises(NaiveTimeError) as told, store.write() as session:
        add(session, Intake(file_name="a", sha256="0", taken_at=naive, taken_by="kim", rows_taken=0))
    assert str(told.value) == "2026-07-01T14:30:00 has no time zone; give the store aware times"


def test_moments_are_compared_as_moments(store: Store) -> None:
    fill(store)
    with store.read() as session:
        count = select(func.count()).select_from(VisitSession)
        minus_five = timezone(timedelta(hours=-5))
        assert (
            session.scalar(count.where(VisitSession.started_at <= datetime(2024, 3, 4, 7, 0, tzinfo=minus_five))) == 2
        )
        assert session.scalar(count.where(VisitSession.started_at < datetime(2024, 3, 4, 7, 0, tzinfo=minus_five))) == 0


def test_every_moment_of_the_models_uses_the_one_type() -> None:
    for table in Base.metadata.sorted_tables:
        for column in table.columns:
            if column.name.endswith("_at") and column.name != "gearbox_c_at":
                assert isinstance(column.type, UtcDateTime), f"{table.name}.{column.name}"


@pytest.mark.parametrize(
    ("kind", "number"),
    [
        (np.int64, 20_388),
        (np.int32, -7),
        (np.int16, 7),
        (np.int8, 7),
        (np.uint8, 200),
        (np.uint16, 7),
        (np.uint32, 7),
        (np.float64, 0.1),
        (np.float32, 0.5),
        (np.float16, 0.5),
    ],
)
def test_numpy_number_is_stored_as_a_number(store: Store, kind: type[np.generic], number: float) -> None:
    value = kind(number)  # type: ignore[call-arg]
    of = "typeof(x)" if store.engine.dialect.name == "sqlite" else "cast(pg_typeof(x) as text)"
    # A name of its own per type: the driver keeps plans by a statement's text.
    column_type = "numeric" if isinstance(number, float) else "integer"
    table = f"tried_{column_type}"
    with store.write() as session:
        session.execute(text(f"create temporary table {table} (x {column_type})"))
        session.execute(text(f"insert into {table} values (:x)"), {"x": value})
        stored, name = session.execute(text(f"select x, {of} from {table}")).one()
        session.execute(text(f"drop table {table}"))
    assert float(stored) == number
    assert name in {"integer", "real", "numeric"}


def test_numpy_flag_is_stored_as_a_flag(store: Store) -> None:
    with store.read() as session:
        flag = bindparam("flag", np.bool_(True), unique=True)
        assert session.scalar(select(type_coerce(flag, Integer))) == 1


def test_numpy_numbers_pass_through_the_models(store: Store) -> None:
    ids = fill(store)
    with store.write() as session:
        session.execute(
            insert(Reading),
            [
                {
                    "survey_id": np.int64(ids.draft["survey"]),
                    "sequence": np.int64(2),
                    "station_id": np.int64(ids.station),
                    "v_entered": "0.1",
                    "h_entered": "0",
                    "unit": "mm",
                    "v_um": np.float64(100.0),
                    "h_um": np.float32(0.0),
                }
            ],
        )
        rows = session.execute(select(Reading.v_um, Reading.sequence).where(Reading.sequence == np.int64(2))).all()
    assert [tuple(row) for row in rows] == [(100.0, 2)]


def test_dates_come_back_as_dates(store: Store) -> None:
    with store.write() as session:
        add(session, Line(code="A01", commissioned_on=date(2017, 12, 10)))
    with store.read() as session:
        assert session.scalars(select(Line.commissioned_on)).one() == date(2017, 12, 10)
