"""What every table shares: the naming of constraints, moments in UTC, bounds, and numpy numbers that stay numbers."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import UTC, date, datetime
from typing import Annotated, Any, Final

import numpy as np
from sqlalchemy import Boolean, CheckConstraint, Date, DateTime, Dialect, Double, Integer, MetaData, String, Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column
from sqlalchemy.types import TypeDecorator

from fleet.store.errors import NaiveTimeError

NAMING: Final = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

CROSS_UM: Final = 50_000
"""No offset, rise, move or room reaches 50 mm; a larger figure is a slip of the unit. [um]"""
ALONG_MM: Final = 20_000
COLDEST_C: Final = -50
HOTTEST_C: Final = 600
EXPANSION_PER_K: Final = "0.00005"


class UtcDateTime(TypeDecorator[datetime]):
    """A moment: refused without a zone, stored as UTC, returned aware, alike on both engines (SQLite drops zones)."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None or value.utcoffset() is None:
            raise NaiveTimeError(f"{value.isoformat()} has no time zone; give the store aware times")
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - the signature is SQLAlchemy's
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


Code = Annotated[str, mapped_column(String(64))]
"""A code as people write it: 1 to 64 characters, compared as typed after Unicode NFC."""


class Base(DeclarativeBase):
    """The one schema; tables appear through migrations only."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map = {  # noqa: RUF012 - SQLAlchemy's own class attribute
        str: Text(),
        float: Double(),
        datetime: UtcDateTime(),
        date: Date(),
        bool: Boolean(),
        int: Integer(),
    }


class Typed:
    """Cells as they were written, beside the values to compute with.

    `typed` is a JSON object {column of the exchange format: text as typed} for every number, time, flag and word with
    a default that has no `*_entered` column of its own. A cell that was left empty is absent, so that a default in the
    value column (beam_state 1, gearbox_c_at `casing_mean`, ...) whose cell is absent is known to be assumed.
    """

    typed: Mapped[str] = mapped_column(Text, server_default="{}", default="{}", sort_order=90)


class Withdrawable:
    """A dated fact that is never deleted: it can be withdrawn, and analyses and exports then leave it out."""

    withdrawn_at: Mapped[datetime | None] = mapped_column(UtcDateTime, sort_order=91)
    withdrawn_by: Mapped[str | None] = mapped_column(Text, sort_order=92)
    withdrawn_why: Mapped[str | None] = mapped_column(Text, sort_order=93)


WITHDRAW_COLUMNS: Final = ("withdrawn_at", "withdrawn_by", "withdrawn_why")
IN_FORCE: Final = "withdrawn_at is null"


def one_of(column: str, words: Iterable[str]) -> CheckConstraint:
    """Return the CHECK that a column holds one of the closed words (or nothing, where it may be empty)."""
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} in ({listed})", name=f"{column}_known")


def not_negative(*columns: str) -> list[CheckConstraint]:
    """Return a CHECK per column that cannot be below zero."""
    return [CheckConstraint(f"{column} >= 0", name=f"{column}_not_negative") for column in columns]


def between(low: object, high: object, *columns: str) -> list[CheckConstraint]:
    """Return a CHECK per column for bounds that belong to the format."""
    return [CheckConstraint(f"{column} between {low} and {high}", name=f"{column}_in_bounds") for column in columns]


def across(*columns: str) -> list[CheckConstraint]:
    """Return the bounds of signed lengths across the bore. [um]"""
    return between(-CROSS_UM, CROSS_UM, *columns)


def along(*columns: str) -> list[CheckConstraint]:
    """Return the bounds of distances along the barrel. [mm]"""
    return between(0, ALONG_MM, *columns)


def warm(*columns: str) -> list[CheckConstraint]:
    """Return the bounds of temperatures. [C]"""
    return between(COLDEST_C, HOTTEST_C, *columns)


def expansion(*columns: str) -> list[CheckConstraint]:
    """Return the bounds of coefficients of linear expansion. [1/K]"""
    return between(0, EXPANSION_PER_K, *columns)


def withdrawal() -> CheckConstraint:
    """Return the CHECK that a withdrawal says who, when and why, all three or none."""
    return CheckConstraint(
        "(withdrawn_at is null and withdrawn_by is null and withdrawn_why is null)"
        " or (withdrawn_at is not null and withdrawn_by is not null and withdrawn_why is not null)",
        name="withdrawal_complete",
    )


def _register_numpy_numbers() -> None:
    """Tell sqlite3 what numpy's scalars are: unregistered, an int64 is stored as a blob of eight bytes, silently."""
    adapters: list[tuple[type[np.generic], Any]] = [
        *((kind, int) for kind in (np.int8, np.int16, np.int32, np.int64, np.uint8, np.uint16, np.uint32, np.uint64)),
        *((kind, float) for kind in (np.float16, np.float32, np.float64)),
        (np.bool_, int),
        (np.str_, str),
    ]
    for kind, adapt in adapters:
        sqlite3.register_adapter(kind, adapt)


_register_numpy_numbers()
