"""What Alembic runs, from a checkout (`[tool.alembic]` in pyproject.toml) and from an installed package alike.

A connection comes from `fleet.store.schema`; the command line opens its own, to ASLEFT_DATABASE_URL or the person's own
file. The rules that hold for every run (one transaction, lock, foreign keys, triggers) stand in `schema.migrating`.
"""

from __future__ import annotations

import os
from typing import Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy import Connection

from fleet.store import Base, UtcDateTime
from fleet.store.engine import open_engine
from fleet.store.schema import migrating


def render_item(kind: str, item: object, _autogen: AutogenContext) -> str | Literal[False]:
    """Write our own column types as what they are in the database, so that old revisions need none of our code."""
    if kind == "type" and isinstance(item, UtcDateTime):
        return "sa.DateTime(timezone=True)"
    return False


def run(connection: Connection) -> None:
    with migrating(connection):
        context.configure(
            connection=connection,
            target_metadata=Base.metadata,
            render_as_batch=True,
            render_item=render_item,
            compare_type=True,
            compare_server_default=True,
        )
        context.run_migrations()


if context.is_offline_mode():
    raise SystemExit("migrations run against a database, not as SQL on paper: SQLite's batch mode reads the tables")

given = context.config.attributes.get("connection")
if isinstance(given, Connection):
    run(given)
else:
    engine = open_engine(os.environ.get("ASLEFT_DATABASE_URL"))
    with engine.connect() as own:
        run(own)
    engine.dispose()
