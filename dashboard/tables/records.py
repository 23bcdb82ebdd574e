"""Who changed what, and the rows that stand in the way of a source."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Final

from dashboard.address import Address
from dashboard.pages.records_choice import asked
from dashboard.sources import Sources
from dashboard.tables.table import Maker, about
from fleet.errors import NotFoundError
from fleet.reports.table_file import Column, Table


def changes(sources: Sources, address: Address) -> Table:
    """Return every entry of the audit that the view chooses, whichever page of them is shown."""
    choice, _ = asked(address)
    rows, zone = sources.records.changes(choice)
    days = sorted({row.at.date() for row in rows})
    return Table(
        title=f"Changes {choice.line}" if choice.line else "Changes",
        columns=(
            Column("number"),
            Column("when", kind="moment", says=f"in the zone {zone}"),
            Column("who", says="as typed or signed in; (not verified) where nobody checked the name"),
            Column("what"),
            Column("before", says="JSON as kept, lengths in um; empty: there was nothing"),
            Column("after", says="JSON as kept, lengths in um"),
        ),
        rows=tuple((row.number, row.at, row.who, row.what, _json(row.before), _json(row.after)) for row in rows),
        about=about(address, datetime.now(UTC).date()),
        dates=(days[0], days[-1]) if days else (),
    )


def _json(values: object) -> str | None:
    return None if values is None else json.dumps(values, ensure_ascii=False, sort_keys=True)


def refused_rows(sources: Sources, address: Address) -> Table:
    """Return what stood in the way of the source the view opens, row by row, as far as it was kept."""
    number = asked(address)[0].source
    if number is None:
        raise NotFoundError("the address names no source; take the file from the source that was refused")
    source, bad, count = sources.records.problems(number)
    return Table(
        title=f"Refused rows of {source.name}",
        columns=(
            Column("file"),
            Column("row", kind="number", says="the header is row 1"),
            Column("column"),
            Column("found_there"),
            Column("what_would_be_right"),
            Column("row_as_sent", says="the filled cells of the row, JSON by column"),
        ),
        rows=tuple(
            (row.file, row.row, row.column, row.found, row.right, _json(dict(row.sent)) if row.sent else None)
            for row in bad
        ),
        about=about(
            address,
            source.at.date(),
            ("source", f"{source.name}, SHA-256 {source.sha256}"),
            ("brought by", f"{source.who}, {source.at.isoformat(timespec='minutes')}"),
            ("problems", f"the first {len(bad)} of {count}" if count > len(bad) else str(count)),
        ),
        dates=(source.at.date(),),
    )


TABLES: Final[dict[str, Maker]] = {"changes": changes, "refused-rows": refused_rows}
