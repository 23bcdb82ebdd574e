"""Many rows at once: the driver's own fast road, with every column's type still applied."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Any, Final

import psycopg
from sqlalchemy import Connection, Table
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from fleet.store.types import Base

_CHUNK: Final = 20_000
"""Rows handed to SQLite at once: enough that the call costs nothing, few enough to be no burden on memory."""


def insert_rows(session: Session, model: type[Base], columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Insert rows of a table: `executemany` on SQLite, COPY on PostgreSQL, inside the session's transaction.

    Defaults of the models are not applied: columns left out take the database's own default.

    Parameters
    ----------
    session : Session
        From `Store.write`.
    model : type
        The table's class.
    columns : sequence of str
        Names, in the order of the values.
    rows : iterable of sequences
        Taken as they come, so that a million need not be held twice.
    """
    table = table_of(model)
    connection = session.connection()
    prepared = _prepared(connection, table, columns, rows)
    listed = ", ".join(f'"{name}"' for name in columns)
    if connection.dialect.name == "sqlite":
        marks = ", ".join("?" * len(columns))
        statement = f'insert into "{table.name}" ({listed}) values ({marks})'
        while chunk := list(islice(prepared, _CHUNK)):
            connection.exec_driver_sql(statement, chunk)
        return
    statement = f'copy "{table.name}" ({listed}) from stdin'
    cursor = connection.connection.cursor()
    try:
        with cursor.copy(statement) as sink:
            for row in prepared:
                sink.write_row(row)
    except psycopg.Error as error:
        # COPY goes past SQLAlchemy; its errors are told the same way as all others.
        raise DBAPIError.instance(statement, None, error, psycopg.Error, dialect=connection.dialect) from error
    finally:
        cursor.close()


def _prepared(
    connection: Connection, table: Table, columns: Sequence[str], rows: Iterable[Sequence[object]]
) -> Iterator[tuple[object, ...]]:
    """Give rows as the driver takes them, each value through its column's type."""
    dialect = connection.dialect
    processors: list[tuple[int, Any]] = []
    for place, name in enumerate(columns):
        process = table.columns[name].type.dialect_impl(dialect).bind_processor(dialect)
        if process is not None:
            processors.append((place, process))
    if not processors:
        yield from map(tuple, rows)
        return
    for row in rows:
        values = list(row)
        for place, process in processors:
            values[place] = process(values[place])
        yield tuple(values)


def new_ids(session: Session, model: type[Base], count: int) -> list[int]:
    """Return ids nobody else gets, so that children can be built before their parents are inserted.

    On SQLite this holds because `Store.write` is the only writer; ask once per table before inserting into it.
    """
    if count == 0:
        return []
    table = table_of(model)
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        last = connection.exec_driver_sql(f'select coalesce(max(id), 0) from "{table.name}"').scalar_one()
        return list(range(last + 1, last + 1 + count))
    query = f"select nextval(pg_get_serial_sequence('{table.name}', 'id')) from generate_series(1, {count})"
    return [row[0] for row in connection.exec_driver_sql(query)]


def table_of(model: type[Base]) -> Table:
    """Return the table behind a model."""
    table = model.__table__
    if not isinstance(table, Table):
        raise TypeError(f"{model.__name__} is not a plain table")
    return table
